/**
 * Mutates sound texts and gives them to the readers until the time is up: `npm run fuzz -- [--seconds N] [READER…]`.
 * The tests run a short search of their own; this one is for long ones. The first mistake is printed and ends it.
 */
import { readFileSync } from 'node:fs';
import { seeded } from '../../bench/traffic/random.ts';
import { mutated } from './mutate.ts';
import { READERS } from './readers.ts';
import { Watchdog } from './watchdog.ts';

const args = process.argv.slice(2);
const option = (name: string, otherwise: number) => {
  const at = args.indexOf(name);
  return at < 0 ? otherwise : Number(args.splice(at, 2)[1]);
};
const seconds = option('--seconds', 60);
const seed = option('--seed', 1);
const files = args.filter((arg) => arg.includes('/'));
const wanted = args.filter((arg) => !arg.includes('/'));

/** Longer than this for a text of at most 20,000 characters is a mistake as well. */
const SLOW_MS = 5000;

/** And this long, by the clock, is a text that would never end. */
const watchdog = new Watchdog(120);

for (const reader of READERS.filter(({ name }) => wanted.length === 0 || wanted.includes(name))) {
  const corpus = [...reader.corpus, ...files.map((file) => readFileSync(file, 'utf8').slice(0, 20_000))];
  const random = seeded(seed);
  const outcomes = new Map<string, number>();
  let texts = 0;
  let slowest = 0;
  const cpu = () => {
    const { user, system } = process.cpuUsage();
    return (user + system) / 1e6;
  };
  const began = cpu();
  while (cpu() - began < seconds) {
    const text = mutated(random, corpus);
    watchdog.begin(text);
    const start = cpu();
    try {
      const outcome = reader.try(text, random);
      outcomes.set(outcome, (outcomes.get(outcome) ?? 0) + 1);
    } catch (mistake) {
      console.error(`${reader.name}, after ${texts} texts:`, mistake, '\n', JSON.stringify(text));
      process.exit(1);
    }
    const took = 1000 * (cpu() - start);
    slowest = Math.max(slowest, took);
    if (took > SLOW_MS) {
      console.error(`${reader.name} took ${Math.round(took)} ms:`, JSON.stringify(text));
      process.exit(1);
    }
    texts++;
  }
  const counted = [...outcomes].sort((a, b) => b[1] - a[1]).map(([outcome, n]) => `${outcome} ${n}`);
  console.log(
    `${reader.name}: ${texts} texts in ${Math.round(cpu() - began)} s of processor time, slowest ${Math.round(slowest)} ms; ${counted.join(', ')}`,
  );
}
