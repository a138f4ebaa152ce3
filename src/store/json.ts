/** JSON text for a column; a bigint is kept exactly as `{"bigint":"…"}`. */
export function toJson(value: unknown): string {
  return JSON.stringify(value, (_key, v: unknown) => (typeof v === 'bigint' ? { bigint: v.toString() } : v));
}

export function fromJson<T>(text: string): T {
  return JSON.parse(text, (_key, v: unknown) => {
    if (typeof v !== 'object' || v === null) return v;
    const keys = Object.keys(v);
    if (keys.length !== 1 || keys[0] !== 'bigint') return v;
    return BigInt((v as { bigint: string }).bigint);
  }) as T;
}
