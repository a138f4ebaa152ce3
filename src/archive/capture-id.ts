/** `20261125T095534Z-00000123`: the instant it was taken (UTC; milliseconds since 1970), and its line in the manifest. */
export function captureId(instant: number, line: number): string {
  const utc = new Date(instant).toISOString().replace(/\.\d+/, '').replaceAll(/[-:]/g, '');
  // Joined, it is one string. Of a template the parts would stay, five times the memory, and there are many ids.
  return [utc, String(line).padStart(8, '0')].join('-');
}

/** The line that an id was made for. A capture that was found again keeps its id, on another line. */
export function lineIn(id: string): number {
  return Number(id.slice(id.lastIndexOf('-') + 1));
}
