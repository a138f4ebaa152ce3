import { Refusal } from '../device/refusal.ts';
import { type Files, sha256 } from '../disk/content.ts';
import { CutShort, unpackFiles } from './archive.ts';
import { compareReleases, MANIFEST, type ReleaseManifest, SIGNATURE } from './manifest.ts';
import { manifestIsSigned } from './signing.ts';

/**
 * What a device does with an image before it writes anything: whole, signed, for this model, over this release,
 * and every member as the manifest says. Throws a Refusal with the first reason why not.
 */
export async function openImage(
  bytes: Uint8Array,
  device: { readonly model: string; readonly release: string },
): Promise<{ manifest: ReleaseManifest; members: Files }> {
  const files = await unpackFiles(bytes).catch((error: unknown) => {
    throw error instanceof CutShort ? new Refusal('the archive is cut short') : error;
  });
  const text = files.get(MANIFEST);
  const signature = files.get(SIGNATURE);
  if (text === undefined || signature === undefined) throw new Refusal('this is no release archive');
  if (!manifestIsSigned(text, signature)) throw new Refusal('the signature does not verify');

  const manifest = JSON.parse(Buffer.from(text).toString('utf8')) as ReleaseManifest;
  if (!manifest.models.includes(device.model)) {
    throw new Refusal(
      `release ${manifest.release} is for model ${manifest.models.join(', ')}, this is ${device.model}`,
    );
  }
  if (manifest.from !== null && compareReleases(device.release, manifest.from) < 0) {
    throw new Refusal(
      `release ${manifest.release} needs ${manifest.from} or later first, this is ${device.release}`,
    );
  }
  const members = new Map<string, Uint8Array>();
  for (const member of manifest.members) {
    const found = files.get(member.name);
    if (found === undefined) throw new Refusal(`the archive lacks ${member.name}`);
    if (found.length !== member.size || sha256(found) !== member.sha256) {
      throw new Refusal(`the digest of ${member.name} is not the signed one`);
    }
    members.set(member.name, found);
  }
  return { manifest, members };
}
