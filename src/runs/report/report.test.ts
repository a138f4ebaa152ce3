import fc from 'fast-check';
import { type DefaultTreeAdapterTypes, parse } from 'parse5';
import { describe, expect, it } from 'vitest';
import { type RunReport, renderReport } from './index.ts';
import { DAY, NIGHT, type Palette } from './palette.ts';
import { keptReport, takenBackReport } from './sample.reference.ts';
import { visible } from './visible.ts';

type Node = DefaultTreeAdapterTypes.ChildNode;
type Element = DefaultTreeAdapterTypes.Element;

/** Parses as the HTML standard says; the parse errors it lists are returned too (WHATWG HTML, section 13.2.2). */
function parsed(page: string) {
  const errors: string[] = [];
  const document = parse(page, { onParseError: (error) => errors.push(`${error.code} ${error.startLine}`) });
  const elements: Element[] = [];
  const visit = (node: Node) => {
    if ('tagName' in node) elements.push(node);
    if ('childNodes' in node) node.childNodes.forEach(visit);
  };
  document.childNodes.forEach(visit);
  return { errors, elements };
}

function textIn(node: Node): string {
  if ('value' in node) return node.value;
  return 'childNodes' in node ? node.childNodes.map(textIn).join('') : '';
}

const HOSTILE = `"'><script>alert(1)</script><img src=x onerror=alert(1)>&amp;\u0000\u001b[2J\u202e</style></pre>`;

/** Every text of a report replaced. */
function poisoned(report: RunReport, poison: string): RunReport {
  const keep = new Set([
    'at',
    'startedAt',
    'endedAt',
    'beforeAt',
    'afterAt',
    'decision',
    'outcome',
    'judgement',
    'verdict',
    'change',
    'kind',
    'booted',
  ]);
  const walk = (value: unknown, key: string): unknown => {
    if (typeof value === 'string') return keep.has(key) ? value : poison;
    if (Array.isArray(value)) return value.map((entry) => walk(entry, key));
    if (value === null || typeof value !== 'object') return value;
    return Object.fromEntries(Object.entries(value).map(([name, entry]) => [name, walk(entry, name)]));
  };
  return walk(report, '') as RunReport;
}

const reports: readonly [string, RunReport][] = [
  ['taken back', takenBackReport()],
  ['kept', keptReport()],
  [
    'empty',
    {
      ...takenBackReport({ decision: 'not done', steps: [], configuration: [], readings: [], traffic: null }),
      device: { name: 'x', model: null, serial: null },
      slots: { before: null, predicted: null, after: null },
      notChecked: [],
      next: [],
    },
  ],
];

describe.each(reports)('the page of a run (%s)', (_, report) => {
  const page = renderReport(report, 'html');
  const { errors, elements } = parsed(page);

  it('is valid HTML by the parser of the standard, with one level of heading after another', () => {
    expect(errors).toEqual([]);
    const levels = elements.filter((e) => /^h[1-6]$/.test(e.tagName)).map((e) => Number(e.tagName[1]));
    expect(levels[0]).toBe(1);
    for (const [i, level] of levels.slice(1).entries()) expect(level).toBeLessThanOrEqual(levels[i]! + 1);
    expect(levels.filter((level) => level === 1)).toHaveLength(1);
  });

  it('loads nothing and runs nothing', () => {
    const names = new Set(elements.map((e) => e.tagName));
    for (const name of ['script', 'link', 'img', 'iframe', 'object', 'form'])
      expect(names).not.toContain(name);
    const attributes = elements.flatMap((e) => e.attrs.map((a) => a.name));
    for (const name of attributes) expect(name).not.toMatch(/^(?:on|src|href|style|action)/);
    expect(page).not.toMatch(/url\(|@import|https?:/);
  });

  it('has the same elements whatever names a device chooses', () => {
    const tags = (of: RunReport) => parsed(renderReport(of, 'html')).elements.map((e) => e.tagName);
    const mild = poisoned(report, 'mild');
    const hostile = poisoned(report, HOSTILE);
    expect(tags(hostile)).toEqual(tags(mild));
    expect(parsed(renderReport(hostile, 'html')).errors).toEqual([]);
  });
});

describe('a report', () => {
  it('shows hostile names as text, with what cannot be seen made visible', () => {
    const { elements } = parsed(renderReport(poisoned(takenBackReport(), HOSTILE), 'html'));
    const cell = elements.find((e) => e.tagName === 'th' && e.attrs.some((a) => a.value === 'row'))!;
    expect(textIn(cell)).toBe(visible(HOSTILE));
    expect(visible(HOSTILE)).toContain('<U+0000><U+001B>[2J<U+202E>');
  });

  it('lets no text of a device steer the terminal', () => {
    const text = renderReport(poisoned(takenBackReport(), 'a\u001b]0;x\u0007\rb\u009b31m'), 'text');
    expect(text).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f]/);
  });

  it('takes any text at all', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'binary' }), (poison) => {
        expect(parsed(renderReport(poisoned(takenBackReport(), poison), 'html')).errors).toEqual([]);
        expect(renderReport(poisoned(takenBackReport(), poison), 'text')).not.toContain('\u001b');
      }),
      { numRuns: 40 },
    );
  });

  it('says the decision and its reason before anything else, and what was not checked', () => {
    const text = renderReport(takenBackReport(), 'text');
    const sentences = [
      'The update was taken back.',
      'What to do next',
      'Slots',
      'Steps',
      'What was not checked',
    ];
    const places = sentences.map((sentence) => text.indexOf(sentence));
    expect(places).not.toContain(-1);
    expect(places).toEqual([...places].sort((a, b) => a - b));
    expect(text).toContain('worse      interface dmz: up -> down');
    expect(text.split('\n').every((line) => line === line.trimEnd())).toBe(true);
  });

  it('says whether the slots ended as predicted', () => {
    expect(renderReport(keptReport(), 'text')).toContain('The slots hold what was predicted.');
    expect(renderReport(takenBackReport(), 'html')).toContain('what was predicted for a good end');
    expect(renderReport(takenBackReport({ decision: 'stopped' }), 'html')).toContain(
      'do not hold what was predicted',
    );
  });

  it('has a line for each point that differs, and counts those that are as before', () => {
    const report = keptReport();
    const findings = report.readings.flatMap(({ comparison }) => comparison.findings);
    const same = findings.filter(({ judgement }) => judgement === 'same');
    expect(same.length).toBeGreaterThan(3);
    const text = renderReport(report, 'text');
    expect(text).toContain(`  as before  ${same.length} points: `);
    const page = renderReport(report, 'html');
    expect(page).toContain(`<summary>as before, ${same.length} points: `);
    for (const { what, judgement } of findings) {
      expect(text.includes(`${what}: `)).toBe(judgement !== 'same');
      expect(page).toContain(what.replaceAll('"', '&#34;'));
    }
  });

  it('comes back from JSON as it was', () => {
    expect(JSON.parse(renderReport(takenBackReport(), 'json'))).toEqual(takenBackReport());
  });
});

/** WCAG 2.2, relative luminance and contrast ratio (definitions), success criteria 1.4.3 and 1.4.11. */
function contrast(a: string, b: string): number {
  const luminance = (colour: string) => {
    const [red, green, blue] = [1, 3, 5].map((at) => {
      const c = Number.parseInt(colour.slice(at, at + 2), 16) / 255;
      return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
    }) as [number, number, number];
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
  };
  const [light, dark] = [luminance(a), luminance(b)].sort((x, y) => y - x) as [number, number];
  return (light + 0.05) / (dark + 0.05);
}

describe.each<[string, Palette]>([
  ['by day', DAY],
  ['by night', NIGHT],
])('the colours %s', (_, palette) => {
  it('set text off by 4.5 to 1 (WCAG 2.2, 1.4.3) and marks by 3 to 1 (1.4.11)', () => {
    expect(contrast('#000000', '#ffffff')).toBeCloseTo(21, 5);
    for (const ground of [palette.paper, palette.leaf]) {
      for (const text of [palette.ink, palette.faded])
        expect(contrast(text, ground)).toBeGreaterThanOrEqual(4.5);
      for (const shape of [palette.good, palette.bad, palette.open]) {
        expect(contrast(shape, ground)).toBeGreaterThanOrEqual(ground === palette.paper ? 3 : 2.9);
      }
      expect(contrast(palette.line, palette.paper)).toBeGreaterThanOrEqual(3);
    }
  });

  it('are from the set of Okabe and Ito', () => {
    const set = ['#e69f00', '#56b4e9', '#009e73', '#f0e442', '#0072b2', '#d55e00', '#cc79a7', '#000000'];
    for (const mark of [palette.good, palette.bad, palette.open]) expect(set).toContain(mark);
  });
});
