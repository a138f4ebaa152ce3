import { Hono } from 'hono';
import type { CaptureRecord } from '#archive';
import type { TuckpointError } from '#core/errors';
import type { RunEnvironment } from '#runs';
import { type Drop, fingerprintOf, freshHostKey, openDrop } from '../drop/index.ts';
import { intakeRoutes, senderOf } from '../intake/index.ts';
import type { NewServiceEvent, ServiceEvent } from './events.ts';
import { type Certificate, cannotListen, openHttp } from './http.ts';
import { Timekeeper } from './rounds.ts';

export interface ServiceOptions {
  readonly host: string;
  readonly port: number;
  /** Null: plain HTTP. */
  readonly certificate: Certificate | null;
  /** Port of the SFTP drop; null: there is none. */
  readonly sftpPort: number | null;
  /** Bytes one delivery may have. */
  readonly limit: number;
}

/** The running service. */
export interface Service {
  readonly port: number;
  readonly sftp: { readonly port: number; readonly fingerprint: string } | null;
  /** Takes a renewed certificate. Throws `server/bad-certificate`; the old one then stays. */
  renew(certificate: Certificate): void;
  /** Ends in order: no half delivery is stored, the device that a round is at is ended first. */
  stop(): Promise<void>;
}

/** How long a delivery under way may take to end when the service stops, in milliseconds. */
const GRACE_MS = 5_000;

/** Starts to listen and to keep time. Throws `server/cannot-listen`, `server/bad-certificate`, store errors. */
export async function startService(
  environment: RunEnvironment,
  options: ServiceOptions,
  hear: (event: ServiceEvent) => void,
): Promise<Service> {
  const { store, archive } = environment;
  const tell = (event: NewServiceEvent) => hear({ at: environment.now(), ...event } as ServiceEvent);
  const timekeeper = new Timekeeper(environment, tell);
  const deviceWith = async (digest: string) => {
    const device = await store.deliveries.deviceWith(digest);
    // Only a note: a full disk must not stand in its way. The archive says by itself when it cannot store.
    if (device !== null) await store.deliveries.used(digest, environment.now()).catch(() => undefined);
    return device;
  };
  const door = {
    archive,
    deviceWith,
    limit: options.limit,
    delivered({ device, id, files }: CaptureRecord) {
      timekeeper.delivered();
      tell({ kind: 'delivered', device, capture: id, files: files.map(({ name }) => name) });
    },
    refused(device: string, error: TuckpointError) {
      tell({ kind: 'refused', device, code: error.code, reason: error.text });
    },
    denied: (address: string) => tell({ kind: 'denied', address }),
  };
  const app = new Hono();
  app.route('/', intakeRoutes({ ...door, address: senderOf }));
  app.notFound((context) => context.json({ code: 'server/not-found', message: 'Not found.' }, 404));
  app.onError((error, context) => {
    tell({ kind: 'fault', reason: error.message });
    return context.json({ code: 'server/fault', message: 'The workbench failed.' }, 500);
  });
  const drop = await dropOf(environment, options, door, deviceWith);
  const http = await openHttp(app.fetch, options, options.certificate).catch(async (error: unknown) => {
    await drop?.close();
    throw error;
  });
  timekeeper.start();
  return {
    port: http.port,
    sftp: drop === null ? null : { port: drop.port, fingerprint: drop.fingerprint },
    renew: (certificate) => http.renew(certificate),
    async stop() {
      await Promise.all([http.close(GRACE_MS), drop?.close(), timekeeper.stop()]);
    },
  };
}

async function dropOf(
  { store }: RunEnvironment,
  { host, sftpPort }: ServiceOptions,
  door: Omit<Parameters<typeof openDrop>[0], 'hostKey'>,
  deviceWithKey: (digest: string) => Promise<string | null>,
): Promise<(Drop & { fingerprint: string }) | null> {
  if (sftpPort === null) return null;
  const hostKey = await store.serviceSecrets.get('sftp-host-key', freshHostKey);
  try {
    const drop = await openDrop({ ...door, deviceWithKey, hostKey }, sftpPort, host);
    return { ...drop, fingerprint: fingerprintOf(hostKey) };
  } catch (cause) {
    throw cannotListen(host, sftpPort, cause);
  }
}
