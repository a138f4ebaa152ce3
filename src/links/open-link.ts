import type { SnmpPart } from './driven/index.ts';
import { DrivenLink, repliesTo, type Trace } from './driven/index.ts';
import { linkError } from './errors.ts';
import type { Handbook } from './handbook/index.ts';
import type { Link } from './port/index.ts';
import type { Way } from './session/index.ts';
import { readSnmp, snmpAccess } from './snmp/index.ts';
import {
  connectSsh,
  ExecSession,
  offerOverHttp,
  type PinHostKey,
  ScpFiles,
  SftpFiles,
  ShellSession,
  type SshTarget,
} from './ssh/index.ts';

/** A device as its entry in the estate describes it. */
export interface LinkTarget extends SshTarget {
  /** Values for `{own.NAME}` in the handbook. */
  readonly own?: Readonly<Record<string, string>>;
}

/**
 * Secrets by name. `privateKey`, `passphrase`, `password` are for the login; `snmp…` for SNMP (see `snmpAccess`); all others are
 * what the handbook asks for by name.
 */
export type LinkSecrets = Readonly<Record<string, string>>;

export interface LinkSurroundings {
  /** Keeps the host key of a device that has none pinned; called before anything secret is sent. */
  readonly pinHostKey: PinHostKey;
  /** RFC 3339, with zone. */
  readonly now: () => string;
  /** Sees every reading command with what its patterns matched; secrets are taken out. */
  readonly observer?: (trace: Trace) => void;
}

/**
 * Opens the way to a device and logs in. A link that the device closed (a boot) opens again on the next call.
 *
 * @throws TuckpointError `links/unreachable`, `links/auth`, `links/host-key-changed`, `links/no-common-algorithm`,
 *   `links/timeout`, `links/missing-secret`.
 */
export async function openLink(
  target: LinkTarget,
  handbook: Handbook,
  secrets: LinkSecrets,
  surroundings: LinkSurroundings,
): Promise<Link> {
  let hostKey = target.hostKey;
  const pin: PinHostKey = async (fingerprint) => {
    await surroundings.pinHostKey(fingerprint);
    hostKey = fingerprint;
  };
  const open = () => openWay({ ...target, hostKey }, handbook, secrets, pin);
  // Bad SNMP access data are told where they matter, in a reading: they must not keep anyone from the device.
  const snmp = async (): Promise<SnmpPart> => {
    const access = snmpAccess(secrets);
    if (access !== null) return readSnmp(target.address, access, handbook.limits.command);
    throw linkError('links/missing-secret', `No SNMP access data are kept for ${target.name}.`, {
      advice:
        'Add "snmpCommunity", or "snmpUser", "snmpAuthPassword" and "snmpPrivacyPassword", to its secrets.',
    });
  };
  const link = new DrivenLink({
    name: target.name,
    handbook,
    own: target.own ?? {},
    secrets,
    observer: surroundings.observer,
    now: surroundings.now,
    snmp,
    open,
  });
  await link.connect();
  return link;
}

async function openWay(
  target: SshTarget,
  handbook: Handbook,
  secrets: LinkSecrets,
  pin: PinHostKey,
): Promise<Way> {
  const { session: book, limits } = handbook;
  const connection = await connectSsh(target, secrets, pin, limits.command);
  try {
    const session =
      book.kind === 'exec'
        ? new ExecSession(connection, book.refusals)
        : await ShellSession.open(
            connection,
            book,
            (answers) => repliesTo(answers, target.name, secrets),
            limits.command,
          );
    return {
      session,
      sftp: new SftpFiles(connection),
      scp: new ScpFiles(connection),
      offer: (name, offered, pull, progress) =>
        offerOverHttp(connection.localAddress, name, offered, pull, progress),
      close() {
        session.close();
        connection.close();
      },
    };
  } catch (error) {
    connection.close();
    throw error;
  }
}
