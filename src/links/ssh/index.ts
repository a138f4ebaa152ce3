/**
 * SSH: connections with pinned host keys, sessions on exec channels and in command shells, and files by SFTP, SCP and HTTP
 * pull. It must never know what a handbook's action means.
 */
export {
  connectSsh,
  type PinHostKey,
  type SshConnection,
  type SshSecrets,
  type SshTarget,
} from './connection.ts';
export { ExecSession } from './exec-session.ts';
export { offerOverHttp } from './http-pull.ts';
export { ScpFiles } from './scp.ts';
export { SftpFiles } from './sftp.ts';
export { ShellSession } from './shell-session.ts';
