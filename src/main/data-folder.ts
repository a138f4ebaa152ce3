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

/** The specification says that a relative path in these variables is to be ignored. */
function absolute(value: string | undefined): string | null {
  return value !== undefined && path.isAbsolute(value) ? value : null;
}
