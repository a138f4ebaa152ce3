import { linkError } from '../errors.ts';

export type AuthProtocol = 'SHA-224' | 'SHA-256' | 'SHA-384' | 'SHA-512';
export type PrivacyProtocol = 'AES-128' | 'AES-256';

/** How to read a device by SNMP. */
export type SnmpAccess =
  | { readonly version: '2c'; readonly port: number; readonly community: string }
  | {
      readonly version: '3';
      readonly port: number;
      readonly user: string;
      /** RFC 7860 section 4. */
      readonly authProtocol: AuthProtocol;
      readonly authPassword: string;
      /** RFC 3826 for 128 bits; for 256 bits draft-blumenthal-aes-usm-04, which is what "AES-256" usually means. */
      readonly privacyProtocol: PrivacyProtocol;
      readonly privacyPassword: string;
    };

const AUTH: readonly AuthProtocol[] = ['SHA-224', 'SHA-256', 'SHA-384', 'SHA-512'];
const PRIVACY: readonly PrivacyProtocol[] = ['AES-128', 'AES-256'];

/**
 * SNMP access data out of the secrets of a device; null when there are none. With `snmpUser`: version 3 with authentication
 * and privacy (`snmpAuthPassword`, `snmpPrivacyPassword`, and `snmpAuthProtocol` [SHA-256], `snmpPrivacyProtocol` [AES-128]). With
 * `snmpCommunity` only: version 2c. `snmpPort` [161].
 *
 * @throws TuckpointError `links/missing-secret`, `links/auth` for a protocol that is not known.
 */
export function snmpAccess(secrets: Readonly<Record<string, string>>): SnmpAccess | null {
  const port = Number(secrets.snmpPort ?? 161);
  const { snmpUser: user, snmpCommunity: community } = secrets;
  if (user === undefined) return community === undefined ? null : { version: '2c', port, community };
  return {
    version: '3',
    port,
    user,
    authProtocol: chosen('snmpAuthProtocol', secrets.snmpAuthProtocol ?? 'SHA-256', AUTH),
    authPassword: needed(secrets, 'snmpAuthPassword'),
    privacyProtocol: chosen('snmpPrivacyProtocol', secrets.snmpPrivacyProtocol ?? 'AES-128', PRIVACY),
    privacyPassword: needed(secrets, 'snmpPrivacyPassword'),
  };
}

function needed(secrets: Readonly<Record<string, string>>, name: string): string {
  const value = secrets[name];
  if (value !== undefined && value !== '') return value;
  throw linkError('links/missing-secret', `"snmpUser" is kept, but not "${name}".`, {
    advice: 'SNMP version 3 is used with authentication and privacy only.',
  });
}

function chosen<Name extends string>(field: string, text: string, known: readonly Name[]): Name {
  const plain = (name: string) => name.toUpperCase().replace(/[^A-Z0-9]/gu, '');
  const found = known.find(
    (name) => plain(name) === plain(text) || (plain(text) === 'AES' && name === 'AES-128'),
  );
  if (found !== undefined) return found;
  // The text is not shown: something else may have been put in this place by mistake.
  throw linkError(
    'links/auth',
    `The protocol kept as "${field}" is not known: use one of ${known.join(', ')}.`,
  );
}
