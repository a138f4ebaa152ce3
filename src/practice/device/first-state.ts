import { configurationOf, SYSTEM } from '../configuration/files.ts';
import { sha256 } from '../disk/content.ts';
import type { DeviceDisk } from '../disk/device-disk.ts';
import type { DeviceState, SlotRecord } from '../disk/state.ts';
import type { EstateDevice } from '../estate/devices.ts';
import { modelOf } from '../estate/models.ts';
import { makeRelease } from '../image/make.ts';

/** Makes a device as the estate describes it: its releases and configurations in the slots, up for some days. */
export function makeDevice(device: EstateDevice, disk: DeviceDisk, now: number): void {
  const model = modelOf(device.model);
  const slots = firstSlots(device, disk);
  const state: DeviceState = {
    format: 1,
    slots,
    running: '1',
    next: '1',
    phase: 'up',
    booting: null,
    bootCount: 1,
    boot: `1-${device.serial}`,
    bootedAt: now - device.upDays * 86_400_000,
    booted: {
      slot: '1',
      release: model.releases[0]!,
      fault: null,
      systemDigest: sha256(disk.configuration(slots[0]!.content).get(SYSTEM)!),
      setDown: [],
    },
    faults: [],
    returning: null,
  };
  disk.writeState(state);
}

/** The slots of a device when it is first made, their contents written. */
export function firstSlots(device: EstateDevice, disk: DeviceDisk): SlotRecord[] {
  const model = modelOf(device.model);
  return model.releases.slice(0, model.slots).map((release, index) => {
    const content = disk.addContent({
      ...makeRelease({ release, models: [model.name] }),
      configuration: configurationOf(device, release, index === 0 ? 'newer' : 'older'),
      settledFor: release,
    });
    return { id: String(index + 1), content };
  });
}
