import { randomBytes } from 'node:crypto';
import { existsSync, readFileSync, rmSync } from 'node:fs';
import { type AddressInfo, connect, createServer } from 'node:net';
import { join } from 'node:path';
import { TuckpointError } from '#core/errors';
import { writeDurably } from './disk/durable.ts';

/**
 * Holds a folder for this process. The holder answers with a word of its own on a local port, so that what a killed
 * process left behind never counts. Gives back what lets the folder go. Throws `practice/busy`.
 */
export async function holdFolder(folder: string): Promise<() => Promise<void>> {
  const file = join(folder, 'held.json');
  if (existsSync(file) && (await answers(file))) {
    throw new TuckpointError('practice/busy', 'Another process runs the practice devices of this folder.', {
      place: { file: folder },
      advice: 'Stop it first, or choose another folder.',
    });
  }
  const word = randomBytes(16).toString('hex');
  const server = createServer((socket) => socket.on('error', () => {}).end(word));
  await new Promise<void>((done, failed) => server.once('error', failed).listen(0, '127.0.0.1', done));
  // The devices' own ports keep the process; this one must not.
  server.unref();
  writeDurably(file, JSON.stringify({ port: (server.address() as AddressInfo).port, word }));
  return async () => {
    rmSync(file, { force: true });
    await new Promise((done) => server.close(done));
  };
}

async function answers(file: string): Promise<boolean> {
  const { port, word } = JSON.parse(readFileSync(file, 'utf8')) as { port: number; word: string };
  return new Promise((done) => {
    const socket = connect(port, '127.0.0.1').setTimeout(2000, () => socket.destroy());
    let said = '';
    socket.on('data', (bytes) => {
      said += bytes;
    });
    socket.on('error', () => {});
    socket.on('close', () => done(said === word));
  });
}
