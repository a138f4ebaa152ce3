import { mayPass } from './errors.ts';
import type { Link } from './port/index.ts';

/** Calls that change nothing and may be repeated at will. Acting calls are never repeated: they may have taken effect. */
const READING = [
  'identify',
  'slots',
  'capture',
  'reading',
  'report',
  'remoteFile',
] as const satisfies readonly (keyof Link)[];

export interface RetryOptions {
  /** How often a call is made at most, the first time included. */
  readonly attempts: number;
  /** Seconds to wait before the second attempt; twice as long before each further one. */
  readonly pauseSeconds: number;
  readonly sleep: (seconds: number) => Promise<void>;
}

/** A link that repeats reading calls which failed with an error that may pass; all else goes through as it is. */
export function withRetry(link: Link, { attempts, pauseSeconds, sleep }: RetryOptions): Link {
  const again = async <T>(call: () => Promise<T>): Promise<T> => {
    for (let attempt = 1; ; attempt++) {
      try {
        return await call();
      } catch (error) {
        if (!mayPass(error) || attempt >= attempts) throw error;
        await sleep(pauseSeconds * 2 ** (attempt - 1));
      }
    }
  };
  return new Proxy(link, {
    get(target, name) {
      const value: unknown = Reflect.get(target, name, target);
      if (typeof value !== 'function') return value;
      const call = (...given: unknown[]) => Reflect.apply(value, target, given) as Promise<unknown>;
      const reads = READING.some((reading) => reading === name);
      return reads ? (...given: unknown[]) => again(() => call(...given)) : call;
    },
  });
}
