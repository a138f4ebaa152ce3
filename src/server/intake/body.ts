import { type CaptureFile, checkName } from '#archive';
import { TuckpointError } from '#core/errors';

type DeliveryErrorCode =
  | 'server/too-large'
  | 'server/half-received'
  | 'server/bad-delivery'
  | 'server/encoded';

function deliveryError(code: DeliveryErrorCode, message: string, advice: string, cause?: unknown) {
  return new TuckpointError<DeliveryErrorCode>(code, message, { advice, cause });
}

/**
 * The whole body of a request, or nothing: it throws when the body is longer than `limit` bytes, when the sender
 * goes away before the end, or when it is not as long as it was announced (RFC 9110 section 8.6).
 */
async function wholeBody(request: Request, limit: number): Promise<Uint8Array> {
  const tooLarge = () =>
    deliveryError(
      'server/too-large',
      `The delivery is larger than ${limit} bytes.`,
      'Raise the limit, or send less.',
    );
  const announced = request.headers.get('content-length');
  if (announced !== null && Number(announced) > limit) throw tooLarge();
  const parts: Uint8Array[] = [];
  let size = 0;
  const reader = request.body?.getReader();
  try {
    for (;;) {
      const { done, value } = (await reader?.read()) ?? { done: true, value: undefined };
      if (done || value === undefined) break;
      size += value.length;
      if (size > limit) {
        await reader?.cancel().catch(() => undefined);
        throw tooLarge();
      }
      parts.push(value);
    }
  } catch (cause) {
    if (cause instanceof TuckpointError) throw cause;
    throw deliveryError(
      'server/half-received',
      'The delivery stopped before its end.',
      'Send it again.',
      cause,
    );
  }
  if (announced !== null && Number(announced) !== size)
    throw deliveryError(
      'server/half-received',
      `Of ${announced} bytes announced, ${size} came.`,
      'Send it again.',
    );
  return new Uint8Array(Buffer.concat(parts));
}

/** The files of a form (RFC 7578): every part with a file name. Parts without one are fields of the form, not files. */
async function formFiles(body: Uint8Array, type: string): Promise<CaptureFile[]> {
  let form: FormData;
  try {
    form = await new Response(body as Uint8Array<ArrayBuffer>, {
      headers: { 'content-type': type },
    }).formData();
  } catch (cause) {
    throw deliveryError(
      'server/half-received',
      'The form cannot be read, or is cut short.',
      'Send it again.',
      cause,
    );
  }
  const files: CaptureFile[] = [];
  for (const [, value] of form)
    if (typeof value !== 'string')
      files.push({ name: value.name, bytes: new Uint8Array(await value.arrayBuffer()) });
  if (files.length === 0)
    throw deliveryError(
      'server/bad-delivery',
      'The form holds no file.',
      'Send the configuration as a file of the form.',
    );
  return files;
}

/** Most files one delivery may have. */
const MOST_FILES = 1000;

/**
 * The files of a delivery: those of a form, or the body itself under `name`. Archives (zip, tar, gzip) are not
 * opened: their bytes are kept as they came, whatever is inside. Throws `server/…`, `archive/bad-name`.
 */
export async function deliveredFiles(request: Request, name: string, limit: number): Promise<CaptureFile[]> {
  const encoding = request.headers.get('content-encoding');
  if (encoding !== null && encoding.toLowerCase() !== 'identity')
    throw deliveryError(
      'server/encoded',
      `Content-Encoding ${encoding} is not taken.`,
      'Send the bytes as they are.',
    );
  const type = request.headers.get('content-type') ?? '';
  const form = request.method === 'POST' && /^multipart\/form-data\b/i.test(type);
  if (!form) checkName(name);
  const body = await wholeBody(request, limit);
  const files = form ? await formFiles(body, type) : [{ name, bytes: body }];
  if (files.length > MOST_FILES)
    throw deliveryError(
      'server/bad-delivery',
      `The form holds more than ${MOST_FILES} files.`,
      'Send fewer.',
    );
  if (files.every((file) => file.bytes.length === 0))
    throw deliveryError('server/bad-delivery', 'The delivery is empty.', 'Check what the device sends.');
  return files;
}
