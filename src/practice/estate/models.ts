/** How one invented model behaves. Memory and disk in bytes. */
export interface PracticeModel {
  readonly name: 'Groyne 40' | 'Groyne 200' | 'Groyne V';
  readonly slots: 1 | 2;
  /** Where `take release` writes: in place, or into the spare slot, which then boots next. */
  readonly installWrites: 'running' | 'spare';
  /** The file in handbooks/, without its ending. */
  readonly handbook: string;
  readonly memoryBytes: number;
  readonly diskBytes: number;
  /** The releases its slots hold when the device is first made, newest first. */
  readonly releases: readonly string[];
  /** Usual traffic of the busiest interface, in octets a second. */
  readonly octetsPerSecond: number;
}

const MiB = 1024 * 1024;

/** The three invented models. */
export const models: readonly PracticeModel[] = [
  {
    name: 'Groyne 40',
    slots: 2,
    installWrites: 'running',
    handbook: 'groyne-two-slot',
    memoryBytes: 2048 * MiB,
    diskBytes: 256 * MiB,
    releases: ['4.1.3', '4.0.9'],
    octetsPerSecond: 2_400_000,
  },
  {
    name: 'Groyne 200',
    slots: 2,
    installWrites: 'spare',
    handbook: 'groyne-200',
    memoryBytes: 16384 * MiB,
    diskBytes: 512 * MiB,
    releases: ['7.2.1', '7.1.4'],
    octetsPerSecond: 61_000_000,
  },
  {
    name: 'Groyne V',
    slots: 1,
    installWrites: 'running',
    handbook: 'groyne-virtual',
    memoryBytes: 4096 * MiB,
    diskBytes: 256 * MiB,
    releases: ['2.6.0'],
    octetsPerSecond: 9_000_000,
  },
];

/** The model of that name. Throws a RangeError for a name the estate does not have. */
export function modelOf(name: string): PracticeModel {
  const model = models.find((m) => m.name === name);
  if (model === undefined) throw new RangeError(`no practice model is called ${name}`);
  return model;
}
