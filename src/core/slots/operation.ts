/**
 * What can be done to the slots of a device, as data.
 *
 * `restart` boots the slot that is set to boot next; `boot` chooses the slot first. `shutdown` ends with the device
 * off; once it has power again it boots the slot set to boot next.
 */
export type Operation =
  | { readonly name: 'install'; readonly release: string }
  | { readonly name: 'keep' }
  | { readonly name: 'recover' }
  | { readonly name: 'boot'; readonly slot: 'running' | 'spare' }
  | { readonly name: 'restart' }
  | { readonly name: 'shutdown' }
  | { readonly name: 'apply'; readonly configuration: string; readonly needsRestart?: boolean };

export type OperationName = Operation['name'];

/** The operation in a few words, such as `install 4.2.0`. */
export function operationText(operation: Operation): string {
  switch (operation.name) {
    case 'install':
      return `install ${operation.release}`;
    case 'keep':
      return 'keep (copy running to spare)';
    case 'recover':
      return 'recover (copy spare to running)';
    case 'boot':
      return operation.slot === 'spare' ? 'boot the spare slot' : 'boot the running slot again';
    case 'restart':
      return 'restart';
    case 'shutdown':
      return 'shut down';
    case 'apply':
      return `apply ${shortDigest(operation.configuration)}`;
  }
}

/** Does the device boot in the course of it? */
export function boots(operation: Operation): boolean {
  return operation.name === 'boot' || operation.name === 'restart' || operation.name === 'shutdown';
}

/** The first characters of a digest, enough to tell two apart at a glance; other names stay whole. */
export function shortDigest(configuration: string): string {
  return /^(?:sha256:)?[0-9a-f]{16,}$/i.test(configuration)
    ? configuration.replace(/^sha256:/i, '').slice(0, 12)
    : configuration;
}
