import { createHash } from 'node:crypto';
import os from 'node:os';
import path from 'node:path';

type Variables = Readonly<Record<string, string | undefined>>;

/**
 * The data folder: --data, else TUCKPOINT_DATA, else `tuckpoint` in the XDG data home (XDG Base Directory
 * Specification; `~/.local/share` where XDG_DATA_HOME is not set).
 */
export function dataFolderOf(args: readonly string[], variables: Variables): string {
  const at = args.findIndex((arg) => arg === '--data' || arg.startsWith('--data='));
  const arg = args[at];
  const named =
    arg?.startsWith('--data=') === true ? arg.slice('--data='.length) : at === -1 ? undefined : args[at + 1];
  if (named !== undefined && named !== '') return path.resolve(named);
  if (variables.TUCKPOINT_DATA !== undefined && variables.TUCKPOINT_DATA !== '') {
    return path.resolve(variables.TUCKPOINT_DATA);
  }
  const home = absolute(variables.XDG_DATA_HOME) ?? path.join(os.homedir(), '.local', 'share');
  return path.join(home, 'tuckpoint');
}

/** Where the key file is made when no other way to unlock is given: outside the data folder it opens. */
export function defaultKeyFile(variables: Variables): string {
  const home = absolute(variables.XDG_CONFIG_HOME) ?? path.join(os.homedir(), '.config');
  return path.join(home, 'tuckpoint', 'key.txt');
}

/**
 * Where the head of the archive's manifest is noted besides: TUCKPOINT_WITNESS, else a file named after the data folder in
 * the XDG state home. It lies outside the data folder, so that a folder put back to an earlier state is seen.
 */
export function witnessOf(folder: string, variables: Variables): string {
  if (variables.TUCKPOINT_WITNESS !== undefined && variables.TUCKPOINT_WITNESS !== '')
    return path.resolve(variables.TUCKPOINT_WITNESS);
  const home = absolute(variables.XDG_STATE_HOME) ?? path.join(os.homedir(), '.local', 'state');
  const name = createHash('sha256').update(folder).digest('hex').slice(0, 16);
  return path.join(home, 'tuckpoint', 'heads', `${name}.json`);
}

/** The specification says that a relative path in these variables is to be ignored. */
function absolute(value: string | undefined): string | null {
  return value !== undefined && path.isAbsolute(value) ? value : null;
}
