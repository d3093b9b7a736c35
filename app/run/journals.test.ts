/**
 * What a run does, to the line, on a bench on which one thing goes wrong. Each journal is a file beside this one, so that a change of
 * behaviour shows as a difference that a person can read (`npx vitest run app/run/journals.test.ts -u` takes it over). The rules behind
 * the lines have tests of their own: held here is that nothing else happens, and at no other time.
 */
import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { celsius, pascals, seconds } from '../quantities/quantity.ts';
import { ScriptedBench, testCapabilities, testEquipment, testPlan } from './scripted-bench.test-helper.ts';
import { ToldRun } from './told-run.test-helper.ts';

const inMode = (...modes: readonly string[]) => (run: ToldRun): boolean => modes.includes(run.mode);
const inStep = (step: string, point = 0) => ({ engine: { state: { current } } }: ToldRun): boolean => current?.step === step && current.point >= point;
const attempts = (n: number) => (run: ToldRun): boolean => run.engine.state.counts.attempts >= n;
const ended = inMode('ended');
const never = (): boolean => false;

const oneInjector = [{ serialNumber: 'A-1', type: 'T', channel: 1 }];
const twoInjectors = [...oneInjector, { serialNumber: 'A-2', type: 'T', channel: 2 }];
const oneWidth = { voltageV: [14], pressureKpa: [400], widthMs: [3], periodMs: [20], replicates: 1 };
/** Every time of the plan is one that frames come to exactly: what is waited for to its limit shows whether the limit itself is waited out. */
const plan = (changes: Record<string, unknown> = {}) =>
  testPlan({
    injectors: oneInjector,
    axes: { ...oneWidth, widthMs: [3, 5] },
    link: { telemetryHz: 16 },
    supply: { steadyS: 0.25, timeoutS: 2 },
    condition: { steadyS: 0.25, timeoutS: 3 },
    purge: { pulses: 2, widthMs: 4, periodMs: 62.5 },
    settleS: 0.25,
    ...changes,
  });
const onePoint = (changes: Record<string, unknown> = {}) => plan({ axes: oneWidth, ...changes });
const rail = { pump: true, relief: true, shutOff: true };

type Setup = ConstructorParameters<typeof ToldRun>[0];

/** Started at once; `course` does the rest. */
const started = (setup: Setup, course: (run: ToldRun) => void) => (): ToldRun => {
  const run = new ToldRun(setup);
  run.bench.frameEvery = 1 / 16;
  run.start();
  course(run);
  return run;
};

/** The same from `where` on: what came before is that of the sound bench. */
const from = (where: (run: ToldRun) => boolean, setup: Setup, course: (run: ToldRun) => void): (() => ToldRun) =>
  started(setup, (run) => {
    run.runUntil(where);
    course(run.fromHere());
  });

const warm = (level: string) => ({ guards: [{ id: 'warm', signal: 'rail-temperature-c', high: 30, level, dwellS: 0.25, hysteresis: 1, clearS: 1, maxResumes: 1 }] });

/** One that opens half a millisecond late, as often as its period says. */
const opens = (run: ToldRun, scale: (channel: number) => number = () => 1): void => {
  const { width, period, channel } = run.bench.burst;
  run.bench.flow = 280 * scale(channel) * Math.min(1, Math.max(0, width >= period ? 1 : (width - 0.5e-3) / period));
  run.bench.current = width >= period ? 1.2 : 0.3;
};

const scenarios: Readonly<Record<string, () => ToldRun>> = {
  'a-sound-bench': started({ plan: plan(), bench: new ScriptedBench({ ...testCapabilities, rail }) }, (run) => {
    run.runUntil(ended);
  }),

  'readings-that-move': started({ plan: onePoint() }, (run) => {
    run.bench.tell = (frame) => {
      const swing = (frame.number % 7) - 3;
      return { ...frame, pressure: pascals(frame.pressure + 100 * swing), railTemperature: celsius(21 + 0.01 * swing), meterTemperature: celsius(22 - 0.02 * swing) };
    };
    run.runUntil(ended);
  }),

  'supply-not-reached': from(inMode('measuring'), { plan: onePoint() }, (run) => {
    run.happens('the supply stays 0.2 V low').bench.supplyOffset = -0.2;
    run.runUntil(attempts(1));
    run.happens('the supply is right').bench.supplyOffset = 0;
    run.runUntil(ended);
  }),

  'condition-not-reached': started({ plan: onePoint() }, (run) => {
    run.happens('the fluid is warm, at the meter too').bench.temperature = 31;
    run.runUntil(attempts(1));
    run.happens('it is not').bench.temperature = 21;
    run.runUntil(ended);
  }),

  'pressure-by-hand': () => {
    const bench = new ScriptedBench({ ...testCapabilities, pressure: { commandable: false } });
    bench.pressure = 380;
    return started({ bench, plan: plan({ axes: { ...oneWidth, pressureKpa: [400, 300] } }) }, (run) => {
      run.runUntil(inStep('condition'));
      run.runUntil(never, 5);
      run.happens('a person sets 399 kPa').bench.pressure = 399;
      run.runUntil(inStep('condition', 1));
      run.runUntil(never, 5);
      run.happens('a person sets 300 kPa').bench.pressure = 300;
      run.runUntil(ended);
    })();
  },

  'waits-skipped': started({ plan: onePoint({ settleS: 30, supply: { steadyS: 30, timeoutS: 100 }, condition: { steadyS: 30, timeoutS: 100 }, purge: { pulses: 5000, widthMs: 4, periodMs: 20 } }) }, (run) => {
    run.command({ kind: 'pause-now' });
    run.runUntil(inMode('paused'));
    run.command({ kind: 'resume' });
    run.runUntil(inMode('measuring'), 100);
    for (const step of ['supply', 'condition', 'purge', 'settle']) {
      run.runUntil(inStep(step), 10);
      run.runUntil(never, 1);
      run.command({ kind: 'skip-wait' });
    }
    run.runUntil(ended, 60);
  }),

  'an-injector-that-stays-shut': started({ plan: plan({ injectors: twoInjectors, giveUp: { afterFailures: 3 } }) }, (run) => {
    run.bench.dead.add(2);
    run.runUntil(ended);
    run.happens('it opens again').bench.dead.clear();
    run.command({ kind: 'measure-again', points: [2] });
    run.runUntil((r) => !ended(r));
    run.runUntil(ended);
  }),

  'no-coil': started({ plan: onePoint({ repeats: { attemptsAtOnce: 1, attemptsSecondPass: 1 } }) }, (run) => {
    run.bench.openCoils.add(1);
    run.runUntil(ended);
  }),

  'a-guard-that-holds': from(inMode('measuring'), { plan: plan({ ...warm('hold'), axes: { ...oneWidth, replicates: 8 } }) }, (run) => {
    for (let n = 0; n < 2; n += 1) {
      run.runUntil(inStep('measure'));
      run.happens('the fluid is warm').bench.temperature = 31;
      run.runUntil(inMode('held', 'tripped'));
      run.happens('it is not').bench.temperature = 21;
      run.runUntil(never, 5);
    }
  }),

  'a-guard-that-trips': from(inStep('measure'), { plan: onePoint(warm('trip')) }, (run) => {
    run.happens('the fluid is warm').bench.temperature = 31;
    run.runUntil(inMode('tripped'));
    run.command({ kind: 'acknowledge' });
    run.runUntil(never, 1);
    run.happens('it is not').bench.temperature = 21;
    run.runUntil(never, 0.5);
    run.command({ kind: 'acknowledge' });
    run.command({ kind: 'resume' });
    run.runUntil(never, 2.2);
    run.command({ kind: 'resume' });
    run.runUntil(ended);
  }),

  'a-guard-that-notes': from(inStep('settle'), { plan: onePoint(warm('note')) }, (run) => {
    run.happens('the fluid is warm').bench.temperature = 30.5;
    run.runUntil(never, 0.5);
    run.happens('it is not').bench.temperature = 21;
    run.runUntil(ended);
  }),

  'a-fault-that-is-latched': from(inStep('measure'), { plan: onePoint() }, (run) => {
    run.happens('the drivers latch a fault').bench.latch('driver');
    run.runUntil(inMode('tripped'));
    run.happens('the cover is open').bench.interlocks = 0b101;
    run.command({ kind: 'acknowledge' });
    run.runUntil(never, 1);
    run.happens('the cover is shut').bench.interlocks = 0b111;
    run.command({ kind: 'acknowledge' });
    run.runUntil(never, 2.2);
    run.command({ kind: 'resume' });
    run.runUntil(ended);
  }),

  'the-link-is-lost': from(inStep('measure'), { plan: onePoint() }, (run) => {
    run.link('down');
    run.runUntil(inMode('held'));
    run.link('down');
    run.runUntil(never, 3);
    run.link('up');
    run.runUntil(ended);
  }),

  'a-hold-that-lasts': from(inStep('purge'), { plan: onePoint({ byItself: { holdS: 20 } }) }, (run) => {
    run.happens('no more telemetry').bench.telemetrySilent = true;
    run.runUntil(inMode('paused'), 60);
    run.happens('telemetry').bench.telemetrySilent = false;
    run.runUntil(never, 3);
    run.command({ kind: 'resume' });
    run.runUntil(ended);
  }),

  'a-controller-that-is-reset': from(inStep('measure'), { plan: onePoint(), bench: new ScriptedBench({ ...testCapabilities, rail }) }, (run) => {
    run.happens('the controller is reset').bench.reset('boot-2');
    run.runUntil(ended);
  }),

  'no-dead-man': started({ plan: onePoint() }, (run) => {
    run.bench.deadManWorks = false;
    run.runUntil(inMode('tripped'), 60);
  }),

  'a-bench-that-does-not-confirm': from(inStep('measure'), { plan: onePoint() }, (run) => {
    run.happens('no answer to make-safe any more, and no dead-man').bench.deadManWorks = false;
    run.bench.answer = ({ kind }) => (kind === 'make-safe' ? { kind: 'no-answer', text: 'nothing heard' } : undefined);
    run.command({ kind: 'pause-now' });
    run.runUntil(inMode('paused'), 60);
    run.runUntil(inMode('tripped'), 600);
    run.runUntil(never, 5);
  }),

  'what-people-ask-for': from(inStep('measure'), { plan: plan() }, (run) => {
    run.command({ kind: 'pause-at-next-point' });
    run.runUntil(inMode('paused'));
    run.command({ kind: 'skip-point', point: 1 });
    run.command({ kind: 'measure-again', points: [0] });
    run.command({ kind: 'resume' });
    run.runUntil(inStep('settle'));
    run.command({ kind: 'finish-early' });
    run.runUntil(ended);
    run.command({ kind: 'choose', point: 0, attempt: 1, reason: 'steadier' });
    run.command({ kind: 'measure-again', points: [1] });
    run.runUntil(inStep('measure'));
    run.command({ kind: 'abort' });
    run.runUntil(ended);
    run.command({ kind: 'emergency-stop' });
    run.runUntil(ended);
    run.command({ kind: 'measure-remaining' });
    run.runUntil((r) => !ended(r));
    run.runUntil(ended);
  }),

  'another-host': from(inStep('measure'), { plan: onePoint() }, (run) => {
    run.restartHost();
    run.runUntil(inMode('paused'));
    run.runUntil(never, 0.2);
    run.command({ kind: 'resume' });
    run.runUntil(ended);
  }),

  'a-host-that-stood-still': from(inStep('measure'), { plan: onePoint() }, (run) => {
    run.happens('it stands still for 12 s').standStill(12, true);
    run.runUntil(inMode('paused'));
  }),

  'a-clock-that-is-off': () => {
    // Of a record of version 2 the run reads this part beside those of version 1.
    const equipment = { ...testEquipment, equipmentVersion: 2, timeBase: { kind: 'crystal', refuseAbovePpm: 1000, uncertaintyPpm: 50 } } as unknown as Equipment;
    return started({ plan: plan({ zero: { windowS: 70, settleS: 1 } }), equipment }, (run) => {
      let rate = 1.0009;
      run.bench.tell = (frame) => ({ ...frame, at: seconds(frame.at * rate), lastEdgeAt: seconds(frame.lastEdgeAt * rate) });
      run.runUntil(attempts(1));
      run.command({ kind: 'pause-now' });
      run.runUntil(inMode('paused'));
      run.happens('another controller, whose second is half a percent short').bench.reset('boot-2');
      rate = 1.005;
      run.pass();
      run.command({ kind: 'resume' });
      run.runUntil(inMode('tripped'), 60);
      run.command({ kind: 'acknowledge' });
      run.runUntil(never, 3);
      run.command({ kind: 'resume' });
    })();
  },

  'a-leak': started({ plan: onePoint({ zero: { windowS: 8, settleS: 1 }, guards: [{ id: 'leak', signal: 'idle-flow-ml-min', high: 5, level: 'note' }] }) }, (run) => {
    run.bench.leak = 8;
    run.runUntil(attempts(1));
    run.happens('it is stopped').bench.leak = 0;
    run.runUntil(ended);
  }),

  'a-rail-that-is-shut-off': () => {
    const equipment = { ...testEquipment, meter: { ...testEquipment.meter, leastHertz: 2 }, rail: { complianceMlPerMpa: 75, complianceUncertaintyPercent: 4, volumeMl: 50 } };
    return started({ plan: onePoint({ zero: { windowS: 4, settleS: 0.5, decayS: 5 } }), equipment, bench: new ScriptedBench({ ...testCapabilities, rail }) }, (run) => {
      run.bench.falling = 40;
      run.runUntil(ended);
    })();
  },

  'first-looks': started({ plan: onePoint({ look: { windowS: 0.5 }, static: { replicates: 1 }, injectors: [1, 2, 3].map((channel) => ({ serialNumber: `A-${channel}`, type: 'T', channel, coilResistanceOhm: 12 })) }) }, (run) => {
    run.runUntil((r) => {
      opens(r, (channel) => (channel === 2 ? 0.6 : 1));
      return ended(r);
    });
  }),

  'one-that-does-not-shut': started({ plan: plan({ look: { windowS: 0.5 } }) }, (run) => {
    run.runUntil((r) => {
      opens(r);
      r.bench.leak = inStep('stop')(r) ? 20 : 0;
      return inMode('tripped')(r);
    });
  }),

  'frames-that-are-lost': () => {
    const run = new ToldRun({ plan: onePoint({ reference: { injector: 'A-1', voltageV: 14, pressureKpa: 400, widthMs: 3, periodMs: 20, everyPoints: 1 } }) });
    run.bench.frameEvery = 1 / 16;
    run.start();
    const pass = run.bench.pass.bind(run.bench);
    // Every fourth frame of the first attempt.
    run.bench.pass = (linked) => {
      if (!attempts(1)(run) && inStep('measure')(run) && (16 * run.bench.time) % 4 === 0) pass(linked);
      return pass(linked);
    };
    run.runUntil(ended);
    return run;
  },

  'a-clock-that-crawls': from(inStep('settle'), { plan: onePoint({ repeats: { attemptsAtOnce: 5, attemptsSecondPass: 0 }, byItself: { sameCause: 0 } }) }, (run) => {
    const crawl = (): void => {
      let from: BenchFrame | null = null;
      run.bench.tell = (frame) => {
        from ??= frame;
        const at = from.at + (frame.at - from.at) / 256;
        return { ...frame, at: seconds(at), lastEdgeAt: seconds(Math.min(at, from.lastEdgeAt + (frame.edges - from.edges) / 65_536)) };
      };
    };
    run.pass();
    run.happens('while the flow settles the clock of the controller slows down');
    crawl();
    run.runUntil(attempts(1));
    run.bench.tell = (frame) => frame;
    run.runUntil(inStep('measure'));
    run.happens('and again inside the window');
    crawl();
    run.runUntil(attempts(3));
    run.bench.tell = (frame) => frame;
    run.runUntil(ended);
  }),

  'pulses-that-do-not-begin': from(inStep('condition'), { plan: onePoint({ repeats: { attemptsAtOnce: 6, attemptsSecondPass: 0 }, byItself: { sameCause: 0 } }) }, (run) => {
    let burst = 0;
    const times = [1, 3, 5];
    run.bench.answer = ({ kind }) => (kind === 'burst' && times.includes((burst += 1)) ? { kind: 'done' } : undefined);
    run.happens('no purge, then no pulses').runUntil(attempts(2));
    run.runUntil(inStep('purge'));
    run.happens('the purge stops early');
    run.bench.answer = () => undefined;
    run.pass();
    run.bench.burst.active = false;
    run.runUntil(attempts(3));
    run.runUntil(inStep('measure'));
    run.happens('another train takes the place');
    run.bench.burst.number += 1;
    run.runUntil(attempts(4));
    run.runUntil(inStep('measure'));
    run.happens('and one of another length');
    run.bench.burst.commanded += 1;
    run.runUntil(attempts(5));
    run.runUntil(inStep('measure'));
    run.happens('it ends early').bench.burst.active = false;
    run.runUntil(ended);
  }),

  'refusals': from(inMode('measuring'), { plan: onePoint({ repeats: { attemptsAtOnce: 4, attemptsSecondPass: 0 }, byItself: { sameCause: 0 } }), bench: new ScriptedBench({ ...testCapabilities, rail }) }, (run) => {
    const refused = new Set<string>();
    const order = ['set-supply', 'set-pressure', 'burst'];
    run.bench.answer = ({ kind }) => (order.includes(kind) && !refused.has(kind) && refused.add(kind).size > 0 ? { kind: 'refused', code: 'x', text: `no ${kind}` } : undefined);
    run.runUntil(inStep('settle'));
    run.bench.answer = ({ kind }) => (kind === 'stop-burst' ? { kind: 'refused', code: 'x', text: 'no' } : undefined);
    run.happens('it does not stop the pulses').runUntil(inMode('tripped'));
  }),

  'current-that-dies-away-slowly': started({ plan: onePoint() }, (run) => {
    let driven = Number.NaN;
    run.runUntil((r) => {
      if (r.bench.burst.active) driven = r.bench.time;
      r.bench.idleCurrent = r.bench.time - driven < 0.8 ? 0.4 : 0;
      return ended(r);
    });
    run.command({ kind: 'measure-again', points: [0] });
    run.runUntil(inStep('measure'));
    run.happens('it does not any more').bench.idleCurrent = 0.4;
    run.runUntil(inMode('tripped'));
  }),
};

describe('RUN-220 a run does this and nothing else', () => {
  it.each(Object.entries(scenarios))('%s', async (name, carryOut) => {
    await expect(`${carryOut().lines.join('\n')}\n`).toMatchFileSnapshot(`journals/${name}.txt`);
  });
});
