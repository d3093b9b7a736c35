import { describe, expect, it } from 'vitest';
import { LONGEST_TO_HOST, sealLine } from '../line/codec.ts';
import { LineSplitter } from '../line/line-splitter.ts';
import { encodeReply } from '../line/messages.ts';
import { SimulatedController } from '../simulator/controller.ts';
import { createPlant } from '../simulator/plant/plant.ts';
import { scenarioSchema } from '../simulator/scenario.ts';
import { SimulatedBench } from '../simulator/simulated-bench.ts';
import { conformanceChecks, runConformance, type ControllerPort } from './suite.ts';

interface Passive {
  receive(bytes: Uint8Array): void;
  advanceTo(us: number): void;
  nextDueUs(): number;
}

/** A port in the bench's own time: waiting is letting its clock go on. */
class InProcessPort implements ControllerPort {
  now = 0;
  readonly lines: string[] = [];
  readonly #splitter = new LineSplitter(LONGEST_TO_HOST, (line) => this.lines.push(line));
  bench: Passive | null = null;
  spoil: (text: string) => string = (text) => text;

  readonly hear = (bytes: Uint8Array): void => {
    this.#splitter.push(bytes);
  };

  send(text: string): void {
    this.bench?.receive(Buffer.from(this.spoil(text), 'latin1'));
  }

  nextLine(timeoutMs: number): Promise<string | null> {
    const end = this.now + timeoutMs * 1_000;
    while (this.lines.length === 0 && this.bench !== null) {
      const due = this.bench.nextDueUs();
      if (due > end) {
        this.#passTo(end);
        break;
      }
      this.#passTo(due);
    }
    return Promise.resolve(this.lines.shift() ?? null);
  }

  wait(ms: number): Promise<void> {
    this.#passTo(this.now + ms * 1_000);
    return Promise.resolve();
  }

  #passTo(us: number): void {
    this.now = Math.max(this.now, us);
    this.bench?.advanceTo(this.now);
  }
}

function bench(scenario: object = {}): InProcessPort {
  const port = new InProcessPort();
  port.bench = new SimulatedBench(scenarioSchema.parse({ scenarioVersion: 1, ...scenario }), port.hear);
  return port;
}

/** A controller alone on its plant, with a reset button and a way to falsify what it says. */
function controller(falsify: (line: string) => string = (line) => line, pressureCommandable = true): InProcessPort & Required<ControllerPort> {
  const port = new InProcessPort();
  const it = new SimulatedController({
    plant: createPlant(scenarioSchema.parse({ scenarioVersion: 1, pressureCommandable })),
    serial: 'T-1',
    channels: 4,
    pressureCommandable,
    rail: { pump: true, relief: true, shutOff: true },
    bootSeed: 7,
    emit: (line) => {
      port.hear(Buffer.from(falsify(line), 'latin1'));
    },
  });
  port.bench = it;
  return Object.assign(port, {
    reset: () => {
      it.reset();
      return Promise.resolve();
    },
  });
}

const failures = async (port: ControllerPort) =>
  (await runConformance(port, { energise: true })).filter((r) => r.result === 'fail').map((r) => `${r.rule} ${r.title}: ${r.detail}`);

describe('the conformance suite', () => {
  it('passes every check on the simulated bench; only the reset button is out of its reach', async () => {
    const results = await runConformance(bench(), { energise: true });
    expect(results.filter((r) => r.result === 'fail')).toEqual([]);
    expect(results.filter((r) => r.result === 'not-applicable').map((r) => r.rule)).toEqual(['LINE-52']);
    expect(results.length).toBe(conformanceChecks.length + 1);
  });

  it('LINE-52 passes on a controller with a reset button, with pressure commanded or not', async () => {
    for (const commandable of [true, false]) {
      const results = await runConformance(controller(undefined, commandable), { energise: true });
      expect(results.filter((r) => r.result !== 'pass')).toEqual([]);
    }
  });

  it('can be run again on the same controller', async () => {
    const port = bench();
    expect(await failures(port)).toEqual([]);
    expect(await failures(port)).toEqual([]);
  });

  it('without leave to energise it drives nothing', async () => {
    const port = bench();
    const results = await runConformance(port, { energise: false });
    expect(results.filter((r) => r.result === 'fail')).toEqual([]);
    const left = results.filter((r) => r.detail.startsWith('Left out')).map((r) => r.title);
    expect(left).toEqual(conformanceChecks.filter((c) => c.energises).map((c) => c.title));
    const frame = await port.nextLine(1_000);
    expect(frame).toMatch(/ burst=0 active=0 commanded=0 done=0 armed=0 /);
  });

  it('says not applicable, with the reason, when the emergency stop keeps the bench from being armed', async () => {
    const results = await runConformance(
      bench({ faults: [{ begins: { atS: 0 }, fault: { kind: 'emergency-stop' } }] }),
      { energise: true },
    );
    expect(results.filter((r) => r.result === 'fail')).toEqual([]);
    expect(results.some((r) => r.result === 'not-applicable' && r.detail.includes('emergency-stop'))).toBe(true);
  });

  it('a mute controller fails everything that needs an answer, and the operator is told what to do', async () => {
    const results = await runConformance(new InProcessPort(), { energise: true });
    expect(results.every((r) => r.result === 'fail')).toBe(true);
    expect(results.at(-1)?.detail).toContain('emergency stop');
  });

  describe('finds a controller that breaks a rule:', () => {
    const seq = (line: string) => Number(line.split(' ')[1]);

    it('LINE-6 answers lines with a wrong checksum', async () => {
      const port = controller();
      // A host whose checksum is always mended on the way stands for a controller that does not look at it.
      port.spoil = (text) => text.replace(/^(\? .*) #[0-9A-F]{4}$/gm, (_, body: string) => sealLine(body).trim());
      expect((await failures(port)).join('\n')).toContain('LINE-6 ');
    });

    it('LINE-13 makes up a new answer for a repeat', async () => {
      let nth = 0;
      const found = await failures(controller((line) => {
        const match = /^! (\d+) supply code=range/.exec(line);
        nth += 1;
        return match === null ? line : encodeReply(seq(line), nth % 2 === 0 ? { word: 'supply' } : { word: 'alive' });
      }));
      expect(found.join('\n')).toContain('LINE-13 ');
    });

    it('LINE-40 loses every twentieth frame', async () => {
      const found = await failures(controller((line) => (line.startsWith('. ') && seq(line) % 20 === 19 ? '' : line)));
      expect(found.join('\n')).toContain('LINE-40 ');
    });

    it('LINE-55 has no dead-man', async () => {
      const found = await failures(
        controller((line) => (line.includes('fault=dead-man') ? sealLine(line.slice(0, -7).replace('armed=0 fault=dead-man', 'armed=1 fault=none')) : line)),
      );
      expect(found.join('\n')).toMatch(/LINE-55 .*: no dead-man a second after/);
      expect(found.join('\n')).toMatch(/LINE-56 .*: the bench is still armed/);
    });

    it('LINE-24 has another boot id in every frame', async () => {
      const found = await failures(
        controller((line) => (line.startsWith('. ') ? sealLine(line.slice(0, -7).replace(/boot=\w+/, `boot=b${seq(line) % 1000}`)) : line)),
      );
      expect(found.join('\n')).toContain('LINE-24 ');
    });

    it('LINE-46 breaks a line into another', async () => {
      let nth = 0;
      const found = await failures(controller((line) => ((nth += 1) % 40 === 0 ? line.slice(0, 12) + line : line)));
      expect(found.join('\n')).toContain('LINE-9: the controller said a bad line');
    });
  });
});
