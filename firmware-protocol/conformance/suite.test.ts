import { describe, expect, it } from 'vitest';
import { LONGEST_TO_HOST, sealLine } from '../line/codec.ts';
import { LineSplitter } from '../line/line-splitter.ts';
import { encodeReply } from '../line/messages.ts';
import { SimulatedController } from '../simulator/controller.ts';
import { createPlant } from '../simulator/plant/plant.ts';
import { scenarioSchema } from '../simulator/plant/scenario.ts';
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

/** The same frame or reply with other fields, its checksum right again. */
const changed = (line: string, change: (body: string) => string) => sealLine(change(line.slice(0, -7)));
const field = (line: string, key: string) => Number(new RegExp(` ${key}=(-?\\d+)`).exec(line)?.[1] ?? NaN);
const isFrame = (line: string) => line.startsWith('. ');

/** Requests changed on their way, as a controller would do that does something else than it was asked. */
function misheard(port: InProcessPort, from: RegExp, to: (...groups: string[]) => string): void {
  port.spoil = (text) => text.replace(/^(\? .*) #[0-9A-F]{4}$/gm, (whole: string, body: string) => (from.test(body) ? sealLine(body.replace(from, to)).trim() : whole));
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
      expect(found.join('\n')).toMatch(/LINE-55 .*: its watchdog had not acted a second after/);
      expect(found.join('\n')).toMatch(/LINE-56 .*: the bench is still armed/);
    });

    it('LINE-24 has another boot id in every frame', async () => {
      const found = await failures(
        controller((line) => (line.startsWith('. ') ? sealLine(line.slice(0, -7).replace(/boot=\w+/, `boot=b${seq(line) % 1000}`)) : line)),
      );
      expect(found.join('\n')).toContain('LINE-24 ');
    });

    it('LINE-16 disarms and lowers the supply with a hello', async () => {
      let greeted = false;
      const found = await failures(controller((line) => {
        if (line.includes(' hello token=')) greeted = true;
        if (/^= \d+ arm /.test(line)) greeted = false;
        return isFrame(line) && greeted ? changed(line, (b) => b.replace('armed=1', 'armed=0').replace(/supply-mv=-?\d+/, 'supply-mv=0')) : line;
      }));
      expect(found.join('\n')).toContain('LINE-16 hello leaves outputs and arming as they are: hello disarmed the bench');
    });

    it('LINE-37 has a period that is 2 % long', async () => {
      const port = controller((line) => (/ echo number=/.test(line) ? changed(line, (b) => b.replace(/period-us=(\d+)/, (_, us) => `period-us=${Math.round(Number(us) / 1.02)}`)) : line));
      misheard(port, /period-us=(\d+)/, (_, us) => `period-us=${Math.round(Number(us) * 1.02)}`);
      expect((await failures(port)).join('\n')).toMatch(/LINE-37 .*: the pulses are not 5000 us apart/);
    });

    it('LINE-37 starts its first pulse 60 ms late', async () => {
      // What the frames say of the burst is that of 60 ms before.
      const history: { at: number; active: string; done: number; burst: number }[] = [];
      const found = await failures(controller((line) => {
        if (!isFrame(line)) return line;
        const now = { at: field(line, 'at-us'), active: / active=(\d)/.exec(line)?.[1] ?? '', done: field(line, 'done'), burst: field(line, 'burst') };
        history.push(now);
        const before = history.filter((h) => h.at <= now.at - 60_000).at(-1);
        const late = before?.burst === now.burst ? before : { active: now.burst > 0 && now.done < field(line, 'commanded') ? '1' : now.active, done: 0 };
        return changed(line, (b) => b.replace(/ active=\d/, ` active=${late.active}`).replace(/ done=\d+/, ` done=${late.done}`));
      }));
      expect(found.join('\n')).toMatch(/LINE-37 .*: the first pulse came \d+ us after the request/);
    });

    it('LINE-34 drives twice the width that it states', async () => {
      const halved = (b: string) => b.replace(/width-ns=(\d+)/, (_, ns) => `width-ns=${Number(ns) / 2}`);
      const port = controller((line) => (/^= \d+ (burst|echo) /.test(line) ? changed(line, halved) : line));
      port.spoil = (text) => text.replace(/^(\? \d+ burst channel=\d+) width-ns=(\d+) period-us=(\d+) (count=\d+) #[0-9A-F]{4}$/gm,
        (_, head: string, ns: string, us: string, count: string) => sealLine(`${head} width-ns=${Math.min(2 * Number(ns), 1e8)} period-us=${us} ${count}`).trim());
      const found = await failures(port);
      expect(found.join('\n')).toMatch(/LINE-34 a pulse lasts as long as the reply states/);
    });

    it('LINE-38 cuts the pulse with halt', async () => {
      let halted: number | null = null;
      const found = await failures(controller((line) => {
        if (/^= \d+ halt /.test(line)) halted = -1;
        if (/^= \d+ burst /.test(line)) halted = null;
        if (!isFrame(line) || halted === null || field(line, 'commanded') !== 3) return line;
        if (halted < 0) halted = field(line, 'done');
        const done = halted;
        return changed(line, (b) => b.replace(/ active=\d/, ' active=0').replace(/ done=\d+/, ` done=${done}`));
      }));
      expect(found.join('\n')).toMatch(/LINE-38 .*: halted in the first pulse: 0 of 3/);
    });

    it('LINE-45 counts the pulse that safe has cut', async () => {
      const found = await failures(controller((line) => {
        if (!isFrame(line) || / active=1/.test(line)) return line;
        const done = field(line, 'done');
        return done < field(line, 'commanded') ? changed(line, (b) => b.replace(/ done=\d+/, ` done=${done + 1}`)) : line;
      }));
      expect(found.join('\n')).toMatch(/LINE-45 .*: 1 pulses are done, and the first was cut/);
    });

    it('LINE-103 sends frames that jitter by a third of the interval', async () => {
      const found = await failures(controller((line) =>
        isFrame(line) ? changed(line, (b) => b.replace(/ at-us=(\d+)/, (_, us) => ` at-us=${Number(us) + (seq(line) % 2) * 15_000}`)) : line));
      expect(found.join('\n')).toMatch(/LINE-103 .*: an interval differs/);
    });

    it('LINE-107 reports its interlocks the wrong way round', async () => {
      const found = await failures(controller((line) => (isFrame(line) ? changed(line, (b) => b.replace(/interlocks=7/, 'interlocks=0')) : line)));
      expect(found.join('\n')).toContain('LINE-107: armed, and the frame says that these interlocks are open: emergency-stop, cover, ventilation');
    });

    it('LINE-41 has a time for an edge that has not come', async () => {
      const found = await failures(controller((line) => (isFrame(line) ? changed(line, (b) => b.replace(/edges=\d+ edge-us=\d+/, 'edges=0 edge-us=17')) : line)));
      expect(found.join('\n')).toContain('LINE-41: the latest edge was at 17 us, and there was none yet');
    });

    it('LINE-106 answers after 120 ms', async () => {
      const port = controller();
      const say = port.nextLine.bind(port);
      // Every answer waits while its bench goes on; frames pass it meanwhile.
      port.nextLine = async (timeoutMs) => {
        const line = await say(timeoutMs);
        if (line !== null && !isFrame(line)) await port.wait(120);
        return line;
      };
      expect((await failures(port)).join('\n')).toMatch(/LINE-106 .*: an answer takes 1\d\d/);
    });

    it('LINE-55 has a dead-man that is 5 % early', async () => {
      const port = controller();
      misheard(port, /deadman ms=(\d+)/, (_, ms) => `deadman ms=${Math.max(100, Math.round(Number(ms) * 0.95))}`);
      expect((await failures(port)).join('\n')).toMatch(/LINE-55 the watchdog keeps its time: acted/);
    });

    it('LINE-90 drives the neighbour of the channel', async () => {
      const port = controller();
      misheard(port, /burst channel=([1-3])/, (_, channel) => `burst channel=${Number(channel) + 1}`);
      expect((await failures(port)).join('\n')).toMatch(/LINE-90 .*driven is/);
    });

    it('LINE-80 refuses an unknown topic as range, and the extensions too', async () => {
      const found = await failures(controller((line) => (/^! \d+ describe code=form/.test(line) ? changed(line, (b) => b.replace('code=form', 'code=range')) : line)));
      expect(found.join('\n')).toMatch(/LINE-80 /);
    });

    it('LINE-88 leaves the pump running with safe and with the dead-man', async () => {
      let on = false;
      const found = await failures(controller((line) => {
        if (/^= \d+ pump /.test(line)) on = true;
        return on && / rail pumping=0/.test(line) ? changed(line, (b) => b.replace('pumping=0', 'pumping=1')) : line;
      }));
      expect(found.join('\n')).toMatch(/LINE-84 .*LINE-88: after the watchdog/);
    });

    it('LINE-98 counts no bad line', async () => {
      const found = await failures(controller((line) => (/ topic=health /.test(line) ? changed(line, (b) => b.replace(/bad-lines=\d+/, 'bad-lines=0')) : line)));
      expect(found.join('\n')).toContain('two bad lines were counted as 0');
    });

    it('LINE-91 states a trip limit that its input cannot reach', async () => {
      const found = await failures(controller((line) => (/ topic=calibration /.test(line) ? changed(line, (b) => b.replace(/pressure-full-pa=\d+/, 'pressure-full-pa=600000')) : line)));
      expect(found.join('\n')).toContain('the trip limit 700000 of pressure lies outside');
    });

    it('LINE-46 breaks a line into another', async () => {
      let nth = 0;
      const found = await failures(controller((line) => ((nth += 1) % 40 === 0 ? line.slice(0, 12) + line : line)));
      expect(found.join('\n')).toContain('LINE-9: the controller said a bad line');
    });
  });
});
