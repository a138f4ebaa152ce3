import { readFileSync } from 'node:fs';
import { isIP } from 'node:net';
import type { Command } from 'commander';
import { TuckpointError } from '#core/errors';
import type { Certificate, ServiceEvent } from '#server/service';
import type { CliContext } from './context.ts';
import { ExitCode } from './exit-codes.ts';

interface Options {
  host: string;
  port: string;
  tlsCert?: string;
  tlsKey?: string;
  sftpPort?: string;
  limit: string;
}

/** `serve`: hears deliveries and goes on rounds, until it is told to end. */
export function serveCommand(program: Command, context: CliContext): void {
  program
    .command('serve')
    .description('take deliveries over HTTP(S) and SFTP, and go on rounds as scheduled, until told to end')
    .option(
      '--host <address>',
      'address to listen on; other machines reach it only at one of their network',
      '127.0.0.1',
    )
    .option('--port <port>', 'port for HTTP(S)', '8790')
    .option('--tls-cert <file>', 'certificate chain (PEM); then HTTPS only. Read again at SIGHUP')
    .option('--tls-key <file>', 'its private key (PEM)')
    .option('--sftp-port <port>', 'also take files by SFTP, on this port')
    .option('--limit <bytes>', 'largest delivery', String(64 * 1024 * 1024))
    .action(async (options: Options) => {
      const certificate = certificateOf(options);
      const wanted = {
        host: options.host,
        port: numberOf(options.port, '--port', 65535),
        sftpPort: options.sftpPort === undefined ? null : numberOf(options.sftpPort, '--sftp-port', 65535),
        limit: numberOf(options.limit, '--limit', 1024 * 1024 * 1024),
        certificate,
      };
      const { startService } = await import('#server/service');
      const bench = await context.workbench();
      const told = untilTold();
      const service = await startService(bench.runs, wanted, (event) => tell(context, event));
      if (certificate === null && !isLoopback(options.host))
        context.out.warn(
          'Without --tls-cert tokens and configurations cross the network readable by anyone on the way.',
        );
      const renew = () => {
        try {
          const next = certificateOf(options);
          if (next !== null) service.renew(next);
        } catch (error) {
          context.out.warn(`The old certificate stays: ${(error as Error).message}`);
        }
      };
      process.on('SIGHUP', renew);
      const base = `${certificate === null ? 'http' : 'https'}://${hostText(options.host)}:${service.port}`;
      const sftp = service.sftp === null ? null : { host: options.host, ...service.sftp };
      context.out.result(
        { deliveries: base, sftp, limit: wanted.limit },
        [
          `Deliveries: ${base}/deliver`,
          ...(sftp === null ? [] : [`SFTP drop: port ${sftp.port}, host key ${sftp.fingerprint}`]),
          'End with Ctrl-C.',
        ].join('\n'),
      );
      const signal = await told;
      context.out.line(`${signal}: ending in order; what is under way is finished first.`);
      process.off('SIGHUP', renew);
      await service.stop();
    });
}

/** Resolves with the first SIGTERM or SIGINT. A second one ends the process at once: nothing acknowledged is lost. */
function untilTold(): Promise<NodeJS.Signals> {
  return new Promise((resolve) => {
    let heard = false;
    const hear = (signal: NodeJS.Signals) => {
      if (heard) process.exit(ExitCode.failed);
      heard = true;
      resolve(signal);
    };
    process.on('SIGTERM', hear);
    process.on('SIGINT', hear);
  });
}

/** For a person a line per event; with --json one JSON object per line on standard error. */
function tell({ out }: CliContext, event: ServiceEvent): void {
  if (out.json) process.stderr.write(`${JSON.stringify(event)}\n`);
  else out.line(`${event.at}  ${sentenceOf(event)}`);
}

function sentenceOf(event: ServiceEvent): string {
  switch (event.kind) {
    case 'delivered':
      return `${event.device} delivered ${event.files.join(', ')}: capture ${event.capture}`;
    case 'refused':
      return `a delivery of ${event.device} was refused: ${event.reason}`;
    case 'denied':
      return `a wrong token came from ${event.address}`;
    case 'late':
      return `${event.device} is late: ${event.reason}`;
    case 'round-begun':
      return `round, due ${event.due}`;
    case 'round-ended':
      return (
        `round ${event.cut ? 'cut short' : 'ended'}: ${event.done} of ${event.of} devices captured, ` +
        `${event.concerns} concerns; next ${event.cut ? 'at the next start' : (event.next ?? 'never')}`
      );
    case 'fault':
      return `something failed: ${event.reason}`;
  }
}

function certificateOf({ tlsCert, tlsKey }: Options): Certificate | null {
  if (tlsCert === undefined && tlsKey === undefined) return null;
  if (tlsCert === undefined || tlsKey === undefined)
    throw new TuckpointError('cli/bad-option', '--tls-cert and --tls-key go together.');
  const read = (file: string) => {
    try {
      return readFileSync(file, 'utf8');
    } catch (cause) {
      throw new TuckpointError('cli/cannot-read', 'The file cannot be read.', { place: { file }, cause });
    }
  };
  return { cert: read(tlsCert), key: read(tlsKey) };
}

function numberOf(text: string, field: string, most: number): number {
  const number = Number(text);
  if (/^\d+$/.test(text) && number <= most) return number;
  throw new TuckpointError('cli/bad-option', `"${text}" is not a whole number up to ${most}.`, {
    place: { field },
  });
}

function isLoopback(host: string): boolean {
  return host === 'localhost' || host === '::1' || (isIP(host) === 4 && host.startsWith('127.'));
}

function hostText(host: string): string {
  return isIP(host) === 6 ? `[${host}]` : host;
}
