import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Gateway, Image, Lab, LabOptions, ReleaseOptions } from '../../../lab/index.ts';
import { startLab } from '../../../lab/index.ts';
import { type RunAnswer, Workbench } from '../../whole/workbench.ts';

/** How a gateway is taken into care: by which handbook, and by which SNMP access. */
export interface Way {
  /** Plain login (default) or the gateway's own command shell. */
  readonly login?: 'plain' | 'shell';
  /** Changes the text of the handbook that ships, as its users may. */
  readonly edit?: (handbook: string) => string;
  readonly snmp?: 'v2c' | 'v3';
}

/** A workbench with real gateways in its care. */
export class LabBench extends Workbench {
  readonly #parent = mkdtempSync(join(tmpdir(), 'tuckpoint-lab-update-'));
  lab!: Lab;

  static async start(options: Omit<LabOptions, 'dir'>): Promise<LabBench> {
    const bench = new LabBench();
    bench.lab = await startLab({ ...options, dir: join(bench.#parent, 'lab') });
    return bench;
  }

  /** Takes a gateway into care under its host name, or another. */
  async care(
    gateway: Gateway,
    { login = 'plain', edit = (text) => text, snmp = 'v3' }: Way = {},
    as?: string,
  ) {
    const { reach } = gateway;
    const name = as ?? reach.hostname;
    const { user, handbook } = login === 'shell' ? reach.shell : reach;
    await this.add({
      name,
      handbook: this.file(`${name}.yaml`, edit(readFileSync(handbook, 'utf8'))),
      address: reach.address,
      port: reach.port,
      user,
      keyFile: reach.keyFile,
      secrets: login === 'shell' ? { upkeep: reach.shell.upkeepWord } : snmpSecrets(gateway, snmp),
    });
    return name;
  }

  /** A release in a folder of its own, so that two of one version do not meet. */
  image(of: Gateway, options: ReleaseOptions): Promise<Image> {
    const kind = options.fault?.kind ?? 'sound';
    return this.lab.makeImage(
      options,
      join(this.folder, 'releases', of.plan.netns, kind, `${options.version}.image`),
    );
  }

  /** Updates a gateway; what the run ended with. */
  async update(
    gateway: Gateway,
    options: ReleaseOptions,
    ...more: string[]
  ): Promise<RunAnswer & { code: number | null }> {
    const { sheet } = await this.image(gateway, options);
    return this.ended('update', gateway.reach.hostname, '--to', sheet, ...more);
  }

  async stop(): Promise<void> {
    await this.lab.stop();
    this.remove();
    rmSync(this.#parent, { recursive: true, force: true });
  }
}

function snmpSecrets({ reach: { snmp } }: Gateway, version: 'v2c' | 'v3'): Record<string, string> {
  if (version === 'v2c') return { snmpCommunity: snmp.community };
  const { user, authProtocol, authPassword, privacyProtocol, privacyPassword } = snmp.v3;
  return {
    snmpUser: user,
    snmpAuthProtocol: authProtocol,
    snmpAuthPassword: authPassword,
    snmpPrivacyProtocol: privacyProtocol,
    snmpPrivacyPassword: privacyPassword,
  };
}
