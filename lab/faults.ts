import { labError } from './errors.ts';
import type { Gateway } from './gateway.ts';

const KNOWN = 'disk-full, disk-free, loss=1..99, interface-down=outside|inside|dmz, unplugged, plugged, none';

const LOSS = (percent: number) => `table netdev cable
delete table netdev cable
table netdev cable {
	chain inside {
		type filter hook ingress device "inside" priority 0; policy accept;
		meta protocol { ip, ip6 } numgen random mod 100 < ${percent} counter drop
	}
}
`;

/**
 * Makes a fault in a running gateway. All but a full disk are gone after a boot; `none` takes all back at once. A
 * configuration loaded later flushes the drops of `loss` too. Throws `lab/input` for a word that is no fault.
 */
export async function makeFault(gateway: Gateway, text: string): Promise<void> {
  const [name = '', value = ''] = text.split('=', 2);
  const inside = async (program: string, ...args: string[]) => {
    const { status, stderr } = await gateway.run(program, ...args);
    if (status !== 0) throw labError('lab/command', `The fault ${text} was not made: ${stderr.trim()}`);
  };
  switch (name) {
    case 'disk-full':
      return gateway.fillDisk();
    case 'disk-free':
      return gateway.freeDisk();
    case 'unplugged':
      return gateway.disconnect();
    case 'plugged':
      return gateway.connect();
    case 'interface-down':
      if (!['outside', 'inside', 'dmz'].includes(value)) break;
      return inside('ip', 'link', 'set', value, 'down');
    case 'loss':
      if (!/^[1-9]\d?$/u.test(value)) break;
      return inside('sh', '-c', `nft -f - <<'END'\n${LOSS(Number(value))}END`);
    case 'none':
      gateway.freeDisk();
      await gateway.connect();
      await gateway.run('nft', 'delete', 'table', 'netdev', 'cable');
      for (const leg of ['outside', 'inside', 'dmz']) await inside('ip', 'link', 'set', leg, 'up');
      return;
  }
  throw labError('lab/input', `"${text}" is not a fault.`, { advice: `Use one of ${KNOWN}.` });
}
