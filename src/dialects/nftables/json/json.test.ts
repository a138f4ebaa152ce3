import { describe, expect, it } from 'vitest';
import { trafficDifference } from '#core/traffic';
import { nftables } from '../index.ts';

/**
 * One ruleset twice: as text, and as `nft -j list ruleset` (nftables 1.0.6, schema version 1) printed it after
 * loading that text.
 */
const TEXT = `table inet t {
  map m {
    type ipv4_addr : verdict
    flags interval
    elements = { 10.1.0.0/16 : jump side, 10.2.0.1 : drop }
  }
  chain side {
    tcp dport { 22, 8000-8080 } accept comment "desk"
  }
  chain c {
    type filter hook forward priority filter + 5; policy drop;
    ct state established,related accept
    iifname "lan*" ip saddr != 10.9.0.0/16 ip daddr vmap @m
    ip6 saddr . tcp dport { 2001:db8::/32 . 443 } reject with tcp reset
    limit rate 5/second accept
  }
}
`;

const JSON_LISTING = `{"nftables": [{"metainfo": {"version": "1.0.6", "release_name": "Lester Gooch #5", "json_schema_version": 1}},
{"table": {"family": "inet", "name": "t", "handle": 1}},
{"map": {"family": "inet", "name": "m", "table": "t", "type": "ipv4_addr", "handle": 3, "map": "verdict", "flags": ["interval"], "elem": [[{"prefix": {"addr": "10.1.0.0", "len": 16}}, {"jump": {"target": "side"}}], ["10.2.0.1", {"drop": null}]]}},
{"chain": {"family": "inet", "table": "t", "name": "side", "handle": 1}},
{"chain": {"family": "inet", "table": "t", "name": "c", "handle": 2, "type": "filter", "hook": "forward", "prio": 5, "policy": "drop"}},
{"rule": {"family": "inet", "table": "t", "chain": "side", "handle": 5, "comment": "desk", "expr": [{"match": {"op": "==", "left": {"payload": {"protocol": "tcp", "field": "dport"}}, "right": {"set": [22, {"range": [8000, 8080]}]}}}, {"accept": null}]}},
{"rule": {"family": "inet", "table": "t", "chain": "c", "handle": 6, "expr": [{"match": {"op": "in", "left": {"ct": {"key": "state"}}, "right": ["established", "related"]}}, {"accept": null}]}},
{"rule": {"family": "inet", "table": "t", "chain": "c", "handle": 7, "expr": [{"match": {"op": "==", "left": {"meta": {"key": "iifname"}}, "right": "lan*"}}, {"match": {"op": "!=", "left": {"payload": {"protocol": "ip", "field": "saddr"}}, "right": {"prefix": {"addr": "10.9.0.0", "len": 16}}}}, {"vmap": {"key": {"payload": {"protocol": "ip", "field": "daddr"}}, "data": "@m"}}]}},
{"rule": {"family": "inet", "table": "t", "chain": "c", "handle": 9, "expr": [{"match": {"op": "==", "left": {"concat": [{"payload": {"protocol": "ip6", "field": "saddr"}}, {"payload": {"protocol": "tcp", "field": "dport"}}]}, "right": {"set": [{"concat": [{"prefix": {"addr": "2001:db8::", "len": 32}}, 443]}]}}}, {"reject": {"type": "tcp reset"}}]}},
{"rule": {"family": "inet", "table": "t", "chain": "c", "handle": 10, "expr": [{"limit": {"rate": 5, "burst": 5, "per": "second"}}, {"accept": null}]}}]}`;

describe('the JSON of a ruleset', () => {
  const text = nftables.read([{ name: 'ruleset.nft', text: TEXT }]);
  const json = nftables.read([{ name: 'ruleset.json', text: JSON_LISTING }]);

  it('says the same as its text', () => {
    expect(json.opaque).toEqual([]);
    // The kernel fills in the burst of a limit, which makes it another limit by its text.
    const known = JSON_LISTING.replace(', "burst": 5', '');
    const policy = nftables.policy(nftables.read([{ name: 'ruleset.json', text: known }]))!;
    expect(trafficDifference(nftables.policy(text)!, policy)).toMatchObject({
      verdict: 'equal',
      exact: true,
    });
  });

  it('gives the same objects, each on its line', () => {
    expect(json.objects.map((object) => object.id).sort()).toEqual(
      text.objects.map((object) => object.id).sort(),
    );
    expect(json.objects.find((object) => object.comment === 'desk')!.place.line).toBe(6);
    expect(json.objects.find((object) => object.kind === 'map')!.references).toEqual([]);
    const rule = json.objects.find((object) => object.id === 'rule inet t c 1')!;
    expect(rule.references.map((reference) => reference.to)).toEqual(['map inet t m']);
  });

  it('with statements nobody knows names them', () => {
    const odd = JSON_LISTING.replace('{"limit": {"rate": 5, "burst": 5, "per": "second"}}', '{"gangway": 7}');
    expect(nftables.read([{ name: 'odd.json', text: odd }]).opaque).toMatchObject([
      { text: '{"gangway":7}', why: '"gangway" is not a statement known here', within: 'rule inet t c 3' },
    ]);
  });
});
