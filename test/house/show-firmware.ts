/**
 * `npm run show -- firmware [pulses, default 100 000] [fuzzed lines, default 20 000]`: what the reference firmware promises,
 * at full size, with its figures.
 */
import { firmware } from '../builders/emulated-firmware.ts';
import { conformance, fuzzFirmware, pulseTrains, silentHost, sweep, trainsOf } from './firmware.ts';

function say(text: string): void {
  process.stdout.write(`${text}\n`);
}

/** Prints the figures; true when every promise held. */
export async function showFirmware(args: readonly string[]): Promise<boolean> {
  const [pulses = 100_000, lines = 20_000] = args.map(Number);
  const built = firmware();
  if (!built.ok) {
    say(built.text);
    return false;
  }
  const share = (part: number, whole: number) => `${part} of ${whole} bytes (${((100 * part) / whole).toFixed(1)} %)`;
  say(`flash ${share(built.flashBytes, built.flashSize)}, static RAM ${share(built.ramBytes, built.ramSize)}`);
  let holds = true;

  const results = await conformance();
  const failed = results.filter((r) => r.result !== 'pass');
  say(`conformance: ${results.length - failed.length} of ${results.length} checks pass on the emulated firmware`);
  for (const r of failed) say(`  ${r.result} ${r.rule} ${r.title}: ${r.detail}`);
  holds &&= failed.length === 0;

  const started = performance.now();
  const trains = await pulseTrains(trainsOf(pulses));
  const wallS = (performance.now() - started) / 1e3;
  say(
    `pulses: ${trains.commanded} commanded in ${trains.trains} trains (0.5 to 20 ms every 4 to 100 ms), ${trains.seen} on the pin,` +
      ` ${trains.reportedDone} reported, ${trains.onWrongChannel} on another channel`,
  );
  say(
    `  greatest error of width ${trains.greatestWidthError} cycles, of start ${trains.greatestStartError} cycles;` +
      ` jitter of width ${trains.greatestWidthJitter} cycles, of period ${trains.greatestPeriodJitter} cycles`,
  );
  say(`  meanwhile ${trains.frames} frames and ${trains.damagedLines} damaged lines; watchdog resets ${trains.watchdogResets}`);
  say(`  ${trains.emulatedS.toFixed(0)} s of the chip's time in ${wallS.toFixed(0)} s: ${((16 * trains.emulatedS) / wallS).toFixed(0)} MHz emulated`);
  holds &&= trains.seen === trains.commanded && trains.reportedDone === trains.commanded && trains.onWrongChannel === 0;
  holds &&= trains.watchdogResets === 0 && trains.greatestWidthError === 0 && trains.greatestStartError === 0;

  for (const setMs of [100, 300, 1_000, 3_000]) {
    const silence = await silentHost(setMs, 20);
    say(
      `host silent in mid burst, dead-man ${setMs} ms: outputs off ${silence.leastMs.toFixed(1)} to ${silence.greatestMs.toFixed(1)} ms` +
        ` after its last line, ${silence.trials} trials, ${silence.allSafe ? 'all safe' : 'NOT ALL SAFE'}`,
    );
    holds &&= silence.allSafe && silence.leastMs >= setMs && silence.greatestMs <= setMs + 50;
  }

  const fuzz = await fuzzFirmware(lines);
  say(
    `fuzz: ${fuzz.lines} lines, ${fuzz.bytes} bytes; ${fuzz.answers} answers, ${fuzz.badLines} ill-formed; ${fuzz.aliveChecks} proofs of life;` +
      ` watchdog resets ${fuzz.watchdogResets}, pulses ${fuzz.pulses}, longest time between frames ${(fuzz.longestFrameGapUs / 1e3).toFixed(1)} ms`,
  );
  holds &&= fuzz.badLines === 0 && fuzz.watchdogResets === 0 && fuzz.pulses === 0;

  for (const cell of await sweep(2, [9, 10.5, 14], [4, 5, 6, 8, 10], 2)) {
    const difference = cell.firmwareS - cell.simulatedS;
    say(
      `dead time of ${cell.injector} at ${cell.voltage} V: simulated controller ${(cell.simulatedS * 1e6).toFixed(1)} us,` +
        ` firmware ${(cell.firmwareS * 1e6).toFixed(1)} us, difference ${(difference * 1e6).toFixed(1)} us, stated uncertainty ${(cell.expandedUncertaintyS * 1e6).toFixed(1)} us`,
    );
    holds &&= Math.abs(difference) <= cell.expandedUncertaintyS;
  }
  return holds;
}
