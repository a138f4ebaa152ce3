import { isIPv6 } from 'node:net';
import snmp from 'net-snmp';
import { linkError } from '../errors.ts';
import type { AuthProtocol, PrivacyProtocol, SnmpAccess } from './access.ts';

/** A value as SNMP gives it, brought to three kinds. Counters are bigints of their full width. */
export type SnmpValue = bigint | string | Uint8Array;
/** Values of a table by row (index) and column. */
export type SnmpTable = ReadonlyMap<string, ReadonlyMap<number, SnmpValue>>;

/** Questions to one agent. */
export interface SnmpSession {
  /** The value of one object; null where the agent has it not. */
  get(oid: string): Promise<SnmpValue | null>;
  /** Columns of a table, `entry` being the OID of its entry; empty where the agent has it not. */
  table(entry: string, columns: readonly number[]): Promise<SnmpTable>;
  close(): void;
}

const AUTH_PROTOCOL: Readonly<Record<AuthProtocol, snmp.AuthProtocols>> = {
  'SHA-224': snmp.AuthProtocols.sha224,
  'SHA-256': snmp.AuthProtocols.sha256,
  'SHA-384': snmp.AuthProtocols.sha384,
  'SHA-512': snmp.AuthProtocols.sha512,
};
const PRIVACY_PROTOCOL: Readonly<Record<PrivacyProtocol, snmp.PrivProtocols>> = {
  'AES-128': snmp.PrivProtocols.aes,
  'AES-256': snmp.PrivProtocols.aes256b,
};
const RETRIES = 1;
/** Rows per question: an answer of this many fits one datagram of any agent. */
const REPETITIONS = 20;

/** Opens a session (UDP: nothing is sent yet). Each question throws `links/timeout`, `links/auth`, `links/refused`. */
export function openSnmp(address: string, access: SnmpAccess, timeoutSeconds: number): SnmpSession {
  const options = {
    port: access.port,
    retries: RETRIES,
    timeout: (timeoutSeconds * 1000) / (RETRIES + 1),
    transport: isIPv6(address) ? ('udp6' as const) : ('udp4' as const),
  };
  const session =
    access.version === '2c'
      ? snmp.createSession(address, access.community, { ...options, version: snmp.Version2c })
      : snmp.createV3Session(
          address,
          {
            name: access.user,
            level: snmp.SecurityLevel.authPriv,
            authProtocol: AUTH_PROTOCOL[access.authProtocol],
            authKey: access.authPassword,
            privProtocol: PRIVACY_PROTOCOL[access.privacyProtocol],
            privKey: access.privacyPassword,
          },
          { ...options, version: snmp.Version3 },
        );
  let broken: Error | null = null;
  session.on('error', (error: Error) => {
    broken = error;
  });

  return {
    get: (oid) =>
      new Promise((resolve, reject) => {
        session.get([oid], (error, varbinds) => {
          const varbind = varbinds?.[0];
          if (error) reject(explained(error ?? broken, access));
          else resolve(varbind === undefined || snmp.isVarbindError(varbind) ? null : plain(varbind));
        });
      }),
    async table(entry, columns) {
      const rows = new Map<string, Map<number, SnmpValue>>();
      for (const column of columns) {
        await new Promise<void>((resolve, reject) => {
          const base = `${entry}.${column}`;
          session.subtree(
            base,
            REPETITIONS,
            (varbinds) => {
              for (const varbind of varbinds) {
                if (snmp.isVarbindError(varbind) || !varbind.oid.startsWith(`${base}.`)) continue;
                const index = varbind.oid.slice(base.length + 1);
                const row = rows.get(index) ?? new Map<number, SnmpValue>();
                rows.set(index, row.set(column, plain(varbind)));
              }
            },
            (error) => (error ? reject(explained(error, access)) : resolve()),
          );
        });
      }
      return rows;
    },
    close: () => session.close(),
  };
}

/** Numbers of all widths to bigint, object identifiers to text, octet strings to bytes. */
function plain({ type, value }: snmp.Varbind): SnmpValue {
  if (typeof value === 'number') return BigInt(value);
  if (Buffer.isBuffer(value)) {
    if (type === snmp.ObjectType.Counter64)
      return value.length === 0 ? 0n : BigInt(`0x${value.toString('hex')}`);
    return new Uint8Array(value);
  }
  return String(value);
}

/** What went wrong, without anything secret. A wrong community gets no answer at all (RFC 3584 section 5.2.1). */
function explained(error: Error, access: SnmpAccess): Error {
  if (error.name === 'RequestTimedOutError') {
    const hint = access.version === '2c' ? ' or the community is not accepted' : '';
    return linkError(
      'links/timeout',
      `The SNMP agent at port ${access.port} gave no answer: nothing listens there${hint}.`,
    );
  }
  if (error.name === 'ResponseInvalidError' && access.version === '3') {
    return linkError(
      'links/auth',
      `The SNMP agent did not accept user "${access.user}": user name, passwords or protocols are not the agent's.`,
      {
        advice: `Kept are ${access.authProtocol} and ${access.privacyProtocol}.`,
      },
    );
  }
  return linkError('links/refused', `The SNMP agent did not answer as expected (${error.name}).`, {
    cause: error,
  });
}
