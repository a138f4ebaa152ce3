import { compareConfigurations } from './src/core/config/index.ts';
import { dialectNamed } from './src/dialects/index.ts';
import * as corpus from './test/fuzz/corpus.ts';
const pairs: [string, readonly string[], string][] = [
  ['nftables', corpus.NFTABLES as any, 'a.nft'], ['iptables', corpus.IPTABLES as any, 'rules.v4'], ['ietf', corpus.IETF as any, 'a.xml'],
  ['ifupdown', corpus.IFUPDOWN as any, 'interfaces'], ['networkd', corpus.NETWORKD as any, 'a.network'], ['tree', corpus.TREE as any, 'a.conf'],
];
const only = process.argv[2];
for (const [name, texts, file] of pairs) {
  if (only && name !== only) continue;
  const d = dialectNamed(name)!;
  const seen = new Set<string>();
  let tried = 0;
  for (const text of texts) {
    let base; try { base = d.read([{ name: file, text }]); } catch { continue; }
    for (const m of text.matchAll(/[\w.]+/g)) {
      const tok = m[0];
      const to = /^\d+$/.test(tok) ? String(Number(tok) + 1) : /^\d+\./.test(tok) ? tok.replace(/\d$/, (d) => String((Number(d) + 1) % 10)) : tok + 'x';
      const t2 = text.slice(0, m.index) + to + text.slice(m.index! + tok.length);
      tried++;
      try {
        const other = d.read([{ name: file, text: t2 }]);
        if (compareConfigurations(base, other).equal) {
          const line = text.slice(text.lastIndexOf('\n', m.index! - 1) + 1, (text.indexOf('\n', m.index!) + 1 || text.length + 1) - 1).trim();
          const key = `${tok}->${to}: ${line.slice(0, 140)}`;
          if (!seen.has(key)) { seen.add(key); console.log(name, key); }
        }
      } catch { /* refused */ }
    }
  }
  console.log(name, 'tried', tried, 'silent', seen.size);
}
