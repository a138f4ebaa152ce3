import { linkError } from '../errors.ts';

/**
 * Waits for `work`, at most `seconds`.
 *
 * @throws TuckpointError `links/timeout` when time is up; `stop` is then called to end the work.
 */
export async function within<T>(
  seconds: number,
  what: string,
  work: Promise<T>,
  stop: () => void,
): Promise<T> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<never>((_, reject) => {
    timer = setTimeout(() => {
      stop();
      reject(linkError('links/timeout', `${what} gave no answer within ${seconds} s.`));
    }, seconds * 1000);
  });
  try {
    return await Promise.race([work, late]);
  } finally {
    clearTimeout(timer);
    // After a timeout the work still ends in its own way: nobody waits for that.
    work.catch(() => undefined);
  }
}
