/** How fast the emulated controller board runs, and how much of its own time the firmware needs. */
import { CLOCK_HZ } from '../emulation/atmega2560.ts';
import { encodeRequest } from '../../firmware-protocol/line/messages.ts';
import { BoardPort, firmware, stillPlant } from '../builders/emulated-firmware.ts';
import type { BenchReport } from './report.ts';

const SECONDS = 20;

export async function bench(): Promise<BenchReport> {
  const built = firmware();
  if (!built.ok) return { name: `Reference firmware, emulated: left out. ${built.text}`, figures: [] };
  const port = new BoardPort(built.hex, stillPlant());
  const { chip } = port.board;
  await port.wait(200);
  port.send(encodeRequest(1, { word: 'hello', token: 'bench' }));
  port.send(encodeRequest(2, { word: 'deadman', ms: 10_000 }));
  port.send(encodeRequest(3, { word: 'arm' }));
  port.send(encodeRequest(4, { word: 'telemetry', hz: 20 }));
  port.send(encodeRequest(5, { word: 'burst', channel: 1, widthNs: 3_000_000, periodUs: 10_000, count: 1_000_000 }));
  await port.wait(100);
  const cycles = chip.cycles;
  const slept = chip.sleptCycles;
  const started = performance.now();
  for (let second = 0; second < SECONDS; second += 1) {
    port.send(encodeRequest(6 + second, { word: 'alive' }));
    await port.wait(1_000);
  }
  const seconds = (performance.now() - started) / 1e3;
  const ran = chip.cycles - cycles;
  return {
    name: 'Reference firmware, emulated: a burst every 10 ms, telemetry at 20 Hz',
    figures: [
      { label: 'emulated clock', value: ran / seconds / 1e6, unit: 'MHz' },
      { label: 'against the chip itself', value: ran / seconds / CLOCK_HZ, unit: 'times' },
      { label: "the firmware's load", value: (100 * (ran - (chip.sleptCycles - slept))) / ran, unit: '%' },
    ],
  };
}
