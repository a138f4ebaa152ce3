/** A line of measured points. */
export interface Line {
  readonly name: string;
  readonly colour: string;
  /** Dash pattern, so that lines differ without colour too. */
  readonly dashes: string;
  readonly points: readonly (readonly [x: number, y: number])[];
}

/** A plot with logarithmic axes as SVG text. */
export function plot(title: string, xTitle: string, yTitle: string, lines: readonly Line[]): string {
  const [width, height, left, bottom, top, right] = [720, 440, 70, 60, 40, 150];
  const all = lines.flatMap((line) => line.points);
  const span = (values: number[]) =>
    [Math.floor(Math.log10(Math.min(...values))), Math.ceil(Math.log10(Math.max(...values)))] as const;
  const [x0, x1] = span(all.map(([x]) => x));
  const [y0, y1] = span(all.map(([, y]) => y));
  const px = (x: number) => left + ((Math.log10(x) - x0) / Math.max(1, x1 - x0)) * (width - left - right);
  const py = (y: number) =>
    height - bottom - ((Math.log10(y) - y0) / Math.max(1, y1 - y0)) * (height - bottom - top);
  const decades = (from: number, to: number) =>
    Array.from({ length: to - from + 1 }, (_, i) => 10 ** (from + i));
  const label = (value: number) =>
    value >= 1000 ? `${value / 1000}k` : String(Number(value.toPrecision(1)));
  const parts = [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${height}" font-family="sans-serif" font-size="13"><title>${title}</title>`,
    `<rect width="${width}" height="${height}" fill="#fff"/>`,
    `<text x="${left}" y="24" font-size="16">${title}</text>`,
    ...decades(x0, x1).map(
      (x) =>
        `<path d="M${px(x)} ${top}V${height - bottom}" stroke="#ddd"/><text x="${px(x)}" y="${height - bottom + 20}" text-anchor="middle">${label(x)}</text>`,
    ),
    ...decades(y0, y1).map(
      (y) =>
        `<path d="M${left} ${py(y)}H${width - right}" stroke="#ddd"/><text x="${left - 8}" y="${py(y) + 4}" text-anchor="end">${label(y)}</text>`,
    ),
    `<text x="${(left + width - right) / 2}" y="${height - 14}" text-anchor="middle">${xTitle}</text>`,
    `<text transform="translate(18 ${(top + height - bottom) / 2}) rotate(-90)" text-anchor="middle">${yTitle}</text>`,
    ...lines.flatMap((line, i) => [
      `<path d="M${line.points.map(([x, y]) => `${px(x).toFixed(1)} ${py(y).toFixed(1)}`).join('L')}" fill="none" stroke="${line.colour}" stroke-width="2" stroke-dasharray="${line.dashes}"/>`,
      ...line.points.map(
        ([x, y]) => `<circle cx="${px(x).toFixed(1)}" cy="${py(y).toFixed(1)}" r="3" fill="${line.colour}"/>`,
      ),
      `<path d="M${width - right + 12} ${top + 20 + 22 * i}h28" stroke="${line.colour}" stroke-width="2" stroke-dasharray="${line.dashes}"/><text x="${width - right + 46}" y="${top + 24 + 22 * i}">${line.name}</text>`,
    ]),
    '</svg>',
  ];
  return `${parts.join('\n')}\n`;
}
