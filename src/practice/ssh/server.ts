import { timingSafeEqual } from 'node:crypto';
import { createServer, type Server, type Socket } from 'node:net';
import { setTimeout as pause } from 'node:timers/promises';
import ssh2, { type AuthContext, type Connection, type ParsedKey } from 'ssh2';
import type { PracticeDevice } from '../device/practice-device.ts';
import { sha256 } from '../disk/content.ts';
import { runSession } from '../shell/session.ts';
import type { Access } from './keys.ts';
import { serveSftp } from './sftp.ts';

/**
 * The SSH server of one device on 127.0.0.1. While the device does not answer, nothing listens on its port and all
 * connections are cut, as when the power goes.
 */
export class DeviceServer {
  private readonly sockets = new Set<Socket>();
  private listener: Server | null = null;
  private over = false;
  private ssh: ssh2.Server;

  constructor(
    private readonly device: PracticeDevice,
    private readonly access: Access,
    private readonly keeperKey: ParsedKey,
    hostKey: string,
  ) {
    this.ssh = this.serverWith(hostKey);
  }

  useHostKey(hostKey: string): void {
    this.ssh = this.serverWith(hostKey);
  }

  /** Resolves when the port is open. Rejects with the system's error, such as EADDRINUSE. */
  async listen(): Promise<void> {
    if (this.over || this.listener !== null) return;
    const listener = createServer((socket) => {
      this.sockets.add(socket);
      socket.on('close', () => this.sockets.delete(socket));
      socket.on('error', () => socket.destroy());
      socket.setNoDelay(true);
      this.ssh.injectSocket(socket);
    });
    this.listener = listener;
    await new Promise<void>((done, failed) => {
      listener.once('error', (error) => {
        if (this.listener === listener) this.listener = null;
        failed(error);
      });
      listener.listen(this.access.port, '127.0.0.1', done);
    });
  }

  /** Closes the port and cuts every connection once what was said is sent. Resolves when the port is free again. */
  async fallSilent(): Promise<void> {
    const { listener } = this;
    this.listener = null;
    for (const socket of this.sockets) {
      socket.destroySoon();
      // Somebody who does not listen must not hold the device up.
      setTimeout(() => socket.destroy(), 50).unref();
    }
    this.sockets.clear();
    if (listener !== null) await new Promise<void>((done) => listener.close(() => done()));
  }

  /** Falls silent for good. */
  close(): Promise<void> {
    this.over = true;
    return this.fallSilent();
  }

  /** Opens and closes the port as the device comes and goes. */
  follow(): void {
    const { machine } = this.device;
    const open = async (): Promise<void> => {
      if (!machine.reachable) return;
      // Somebody else on the port: unlikely where it lies, and then a matter of waiting.
      await this.listen().catch(() => pause(200).then(open));
      if (!machine.reachable) await this.fallSilent();
    };
    let last = Promise.resolve();
    machine.onReachable = (reachable) => {
      const silent = reachable ? Promise.resolve() : this.fallSilent();
      last = last.then(() => silent).then(open);
    };
  }

  private serverWith(hostKey: string): ssh2.Server {
    const { name, model } = this.device.spec;
    const banner = `${name}: practice device, simulated ${model}. Nothing here is real.\n`;
    return new ssh2.Server({ hostKeys: [hostKey], banner, ident: 'practice' }, (client) =>
      this.serve(client),
    );
  }

  private serve(client: Connection): void {
    client.on('error', () => {});
    client.on('authentication', (context) => {
      if (this.mayEnter(context)) context.accept();
      else context.reject(['publickey', 'password']);
    });
    client.on('ready', () => {
      client.on('session', (accept) => {
        const session = accept();
        let interactive = false;
        session.on('pty', (ok) => {
          interactive = true;
          ok?.();
        });
        session.on('window-change', (ok) => ok?.());
        session.on('shell', (open) => {
          const channel = open();
          channel.on('error', () => {});
          runSession(this.device, channel, interactive).then(
            () => {
              channel.exit(0);
              channel.end();
            },
            (error: Error) => channel.end(`this practice device has a flaw: ${error.message}\r\n`),
          );
        });
        session.on('exec', (open) => {
          const channel = open();
          channel.on('error', () => {});
          channel.stderr.write('refused: this device has only its command shell\n');
          channel.exit(1);
          channel.end();
        });
        session.on('sftp', (open) => serveSftp(this.device, open()));
      });
    });
  }

  private mayEnter(context: AuthContext): boolean {
    if (context.username !== this.access.user) return false;
    if (context.method === 'password') return same(context.password, this.access.password);
    if (context.method !== 'publickey') return false;
    if (!this.keeperKey.getPublicSSH().equals(context.key.data)) return false;
    return (
      context.signature === undefined ||
      this.keeperKey.verify(context.blob!, context.signature, context.hashAlgo) === true
    );
  }
}

const same = (a: string, b: string): boolean =>
  timingSafeEqual(Buffer.from(sha256(a)), Buffer.from(sha256(b)));
