import { type Context, Hono } from 'hono';
import type { Archive, CaptureRecord } from '#archive';
import { TuckpointError } from '#core/errors';
import { deliveredFiles } from './body.ts';
import { tokenDigest, tokenIn } from './token.ts';
import { WrongTokens } from './wrong-tokens.ts';

/** Bytes one delivery may have, unless set otherwise. */
const DELIVERY_LIMIT = 64 * 1024 * 1024;

export interface IntakeOptions {
  readonly archive: Pick<Archive, 'put'>;
  /** The device whose delivery token has this digest (see `tokenDigest`), or null. */
  deviceWith(tokenDigest: string): Promise<string | null>;
  /** Address of the sender, for limiting wrong tokens. */
  address(context: Context): string;
  /** The workbench's clock. */
  readonly now?: () => Date;
  readonly limit?: number;
  /** Told after a delivery is stored; and when one of a known device was refused. */
  readonly delivered?: (record: CaptureRecord) => Promise<void> | void;
  readonly refused?: (device: string, error: TuckpointError) => Promise<void> | void;
  /** Told of every wrong token. */
  readonly denied?: (address: string) => void;
}

/** The sender's address, when the server is @hono/node-server and nothing stands before it. */
export function senderOf(context: Context): string {
  const { incoming } = context.env as { incoming?: { socket?: { remoteAddress?: string } } };
  return incoming?.socket?.remoteAddress ?? '';
}

const STATUS: Record<string, 400 | 408 | 413 | 415 | 503> = {
  'server/too-large': 413,
  'server/encoded': 415,
  'server/half-received': 400,
  'server/bad-delivery': 400,
  'archive/bad-name': 400,
  'archive/bad-capture': 400,
  'archive/write-failed': 503,
  'archive/busy': 503,
};

/** What the device is told: what is wrong and what to do, and no path of the workbench. */
export function toldOutside({ message, advice }: TuckpointError): string {
  return advice === undefined ? message : `${message} ${advice}`;
}

/** Name of a delivered file when the device gives none. */
const UNNAMED = 'configuration';

/** The file's name: the path behind the route, or `filename` of Content-Disposition (RFC 6266), or the default. */
function nameIn(context: Context, rest: string | undefined): string {
  if (rest !== undefined && rest !== '') return rest;
  const disposition = context.req.header('content-disposition') ?? '';
  return (
    /\bfilename="([^"]+)"/i.exec(disposition)?.[1] ??
    /\bfilename=([^;\s]+)/i.exec(disposition)?.[1] ??
    UNNAMED
  );
}

/**
 * Where devices deliver their own backups:
 *
 * - `PUT /deliver/NAME`, `POST /deliver` (the body is the file, or a form with files), with the device's token as
 *   Bearer token or as the password of Basic;
 * - the same at `/drop/TOKEN[/NAME]`, for devices that can only be given an address.
 *
 * The answer is 201 once the capture is on disk, synced and read back; anything else means that nothing was stored.
 * Wrong tokens are limited by address, and no answer tells whether a device or a token exists.
 */
export function intakeRoutes(options: IntakeOptions): Hono {
  const { archive, limit = DELIVERY_LIMIT, now = () => new Date() } = options;
  const wrong = new WrongTokens();
  const app = new Hono();

  async function take(
    context: Context,
    token: string | null,
    rest: string | undefined,
    refuse: () => Response,
  ) {
    const address = options.address(context);
    const closed = wrong.closedFor(address, performance.now());
    if (closed > 0) {
      context.header('Retry-After', String(Math.ceil(closed / 1000)));
      return context.json({ code: 'server/too-many', message: 'Too many wrong tokens. Wait.' }, 429);
    }
    const device = token === null ? null : await options.deviceWith(tokenDigest(token));
    if (device === null) {
      wrong.note(address, performance.now());
      options.denied?.(address);
      return refuse();
    }
    try {
      const files = await deliveredFiles(context.req.raw, nameIn(context, rest), limit);
      const at = now().toISOString();
      const taken = { device, at, source: 'delivery', release: null, slot: null, run: null } as const;
      const record = await archive.put({ ...taken, files });
      await options.delivered?.(record);
      const { id, digest } = record;
      return context.json({ id, device, at, digest, files: record.files }, 201);
    } catch (error) {
      if (!(error instanceof TuckpointError)) throw error;
      await options.refused?.(device, error);
      if (STATUS[error.code] === 503) context.header('Retry-After', '60');
      return context.json({ code: error.code, message: toldOutside(error) }, STATUS[error.code] ?? 500);
    }
  }

  const denied = (context: Context) => () => {
    context.header('WWW-Authenticate', 'Bearer realm="deliveries"');
    context.header('WWW-Authenticate', 'Basic realm="deliveries", charset="UTF-8"', { append: true });
    return context.json({ code: 'server/denied', message: "This needs the device's delivery token." }, 401);
  };
  const nothing = (context: Context) => () =>
    context.json({ code: 'server/not-found', message: 'Not found.' }, 404);
  const below = (context: Context, prefix: string) => {
    const rest = new URL(context.req.url).pathname.split('/').slice(prefix.split('/').length).join('/');
    try {
      return decodeURIComponent(rest);
    } catch {
      return rest; // not percent-encoded UTF-8: keep it as it stands
    }
  };

  for (const path of ['/deliver', '/deliver/*'])
    app.on(['PUT', 'POST'], path, (context) => {
      const token = tokenIn(context.req.header('authorization'));
      return take(context, token, below(context, '/deliver'), denied(context));
    });
  for (const path of ['/drop/:token', '/drop/:token/*'])
    app.on(['PUT', 'POST'], path, (context) =>
      take(context, context.req.param('token') ?? null, below(context, '/drop/token'), nothing(context)),
    );
  return app;
}
