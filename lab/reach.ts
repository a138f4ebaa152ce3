import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { GatewayPlan } from './plan.ts';
import type { LabState } from './state.ts';

const HANDBOOKS = join(import.meta.dirname, '..', 'handbooks');

/** All that the workbench needs to know of a gateway to work on it. */
export interface Reach {
  readonly hostname: string;
  readonly model: string;
  readonly serial: string;
  readonly address: string;
  readonly port: number;
  /** Plain login; `handbook` goes with it. */
  readonly user: string;
  readonly keyFile: string;
  readonly handbook: string;
  /** The same gateway through its own command shell. */
  readonly shell: { readonly user: string; readonly upkeepWord: string; readonly handbook: string };
  /** OpenSSH public key line, and its fingerprint as OpenSSH prints it. */
  readonly hostKey: string;
  readonly hostKeyFingerprint: string;
  readonly snmp: {
    readonly port: number;
    readonly community: string;
    readonly v3: {
      readonly user: string;
      readonly authProtocol: 'SHA-256';
      readonly authPassword: string;
      readonly privacyProtocol: 'AES';
      readonly privacyPassword: string;
    };
  };
  /** The workbench as the gateway sees it: serve files here for it to fetch. */
  readonly workbench: string;
}

/** `SHA256:…`, the form of OpenSSH: unpadded base64 of the digest of the key blob (RFC 4253 section 6.6). */
function fingerprint(publicKeyLine: string): string {
  const blob = Buffer.from(publicKeyLine.split(' ')[1] ?? '', 'base64');
  return `SHA256:${createHash('sha256').update(blob).digest('base64').replace(/=+$/u, '')}`;
}

/** How to reach the gateway whose folder is `folder`, of the lab in `dir`. */
export function reachOf(dir: string, folder: string, plan: GatewayPlan, { access }: LabState): Reach {
  const hostKey = readFileSync(join(folder, 'disk/keys/ssh_host_ed25519_key.pub'), 'utf8').trim();
  return {
    hostname: plan.hostname,
    model: 'Groyne 40',
    serial: plan.serial,
    address: plan.address,
    port: 22,
    user: access.user,
    keyFile: join(dir, 'keys', access.user),
    handbook: join(HANDBOOKS, 'lab-gateway.yaml'),
    shell: {
      user: access.shellUser,
      upkeepWord: access.upkeepWord,
      handbook: join(HANDBOOKS, 'lab-gateway-shell.yaml'),
    },
    hostKey,
    hostKeyFingerprint: fingerprint(hostKey),
    snmp: {
      port: 161,
      community: access.community,
      v3: {
        user: access.snmpUser,
        authProtocol: 'SHA-256',
        authPassword: access.authPassword,
        privacyProtocol: 'AES',
        privacyPassword: access.privacyPassword,
      },
    },
    workbench: plan.workbench,
  };
}

/** A gateway as an entry of an estate: where it is, who logs in, and the secrets by the names the handbooks use. */
export interface Entry {
  readonly name: string;
  readonly address: string;
  readonly port: number;
  readonly user: string;
  /** `ssh-ed25519 SHA256:…` */
  readonly hostKey: string;
  readonly handbook: string;
  readonly secrets: Readonly<Record<string, string>>;
}

/** The entry for one of the gateway's two logins: the plain one, or its own command shell. */
export function entryOf(reach: Reach, login: 'plain' | 'shell' = 'plain'): Entry {
  const { v3 } = reach.snmp;
  return {
    name: reach.hostname,
    address: reach.address,
    port: reach.port,
    user: login === 'plain' ? reach.user : reach.shell.user,
    hostKey: `${reach.hostKey.split(' ')[0]} ${reach.hostKeyFingerprint}`,
    handbook: login === 'plain' ? reach.handbook : reach.shell.handbook,
    secrets: {
      privateKey: readFileSync(reach.keyFile, 'utf8'),
      snmpUser: v3.user,
      snmpAuthProtocol: v3.authProtocol,
      snmpAuthPassword: v3.authPassword,
      snmpPrivacyProtocol: v3.privacyProtocol,
      snmpPrivacyPassword: v3.privacyPassword,
      upkeep: reach.shell.upkeepWord,
    },
  };
}
