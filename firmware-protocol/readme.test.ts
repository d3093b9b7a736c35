/** The specification held against the code: a stranger reads the one, the bench does the other. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { LONGEST_TO_CONTROLLER, LONGEST_TO_HOST } from './line/codec.ts';
import { crc16 } from './line/crc16.ts';
import { faultText, type FaultCode } from './line/fault-texts.ts';
import { decodeFromController, decodeFromHost, encodeTelemetry, type RefusalCode } from './line/messages.ts';

const readme = readFileSync(new URL('README.md', import.meta.url), 'utf8');

/** The text of a rule up to the next rule or heading. */
function rule(id: string): string {
  return new RegExp(`\\*\\*${id}\\*\\*([^]*?)(?=\\n\\*\\*LINE-|\\n## )`).exec(readme)?.[1] ?? '';
}

/** Words in backquotes in the first column of a rule's table. */
function firstColumn(id: string): string[] {
  return [...rule(id).matchAll(/^\| ((?:`[^`]+` ?)+)\|/gm)].flatMap((row) => [...(row[1] ?? '').matchAll(/`([^`]+)`/g)].map((m) => m[1] ?? ''));
}

describe('the specification', () => {
  const damagedAt = readme.indexOf('A damaged line gets no answer');
  const examples = [...readme.matchAll(/^ {4}([?=!.] \d+ .* #[0-9A-F]{4})$/gm)].map((m) => ({ text: m[1] ?? '', damaged: m.index > damagedAt }));

  it('LINE-6 every example line has the right checksum and is taken; the damaged one is not', () => {
    expect(examples.length).toBeGreaterThan(20);
    expect(examples.filter((e) => e.damaged)).toHaveLength(1);
    for (const { text, damaged } of examples) {
      const right = Number.parseInt(text.slice(-4), 16) === crc16(text.slice(0, -5));
      expect(right, text).toBe(!damaged);
      const decoded = text.startsWith('?') ? decodeFromHost(text) : decodeFromController(text);
      expect(decoded.kind === 'bad', text).toBe(damaged);
    }
  });

  it('numbers its rules once each', () => {
    const ids = [...readme.matchAll(/^\*\*(LINE-\d+)\*\*/gm)].map((m) => m[1]);
    expect(ids.length).toBeGreaterThan(60);
    expect(new Set(ids).size).toBe(ids.length);
  });

  it('LINE-3 states the bounds that the codec keeps', () => {
    expect(rule('LINE-3')).toContain(`controller is ${LONGEST_TO_CONTROLLER} bytes`);
    expect(rule('LINE-3')).toContain(`host ${LONGEST_TO_HOST} bytes`);
  });

  it('LINE-41 lists the fields of a frame in their order', () => {
    const line = encodeTelemetry({
      atUs: 0, frame: 0, boot: 'b', supplyMv: 0, currentMa: 0, pressurePa: 0, railMilliC: 0, meterMilliC: 0, edges: 0, lastEdgeUs: 0, burst: 0,
      active: false, commanded: 0, done: 0, armed: false, fault: '', interlocks: 0,
    });
    expect(firstColumn('LINE-41')).toEqual([...line.matchAll(/ ([a-z-]+)=/g)].map((m) => m[1]));
  });

  it('LINE-22 lists the codes of refusal', () => {
    const codes: Record<RefusalCode, true> = {
      unknown: true, form: true, 'no-hello': true, stale: true, unsupported: true, range: true, fault: true, interlock: true, 'not-armed': true, busy: true,
    };
    expect(firstColumn('LINE-22')).toEqual(Object.keys(codes));
  });

  it('LINE-60 lists the faults, and each has its text: what happened, what is safe, what to do', () => {
    const codes: Record<FaultCode, true> = {
      'emergency-stop': true, 'interlock-cover': true, 'interlock-ventilation': true, 'over-current': true, 'over-pressure': true,
      'over-temperature': true, 'dead-man': true, 'sensor-current': true, 'sensor-pressure': true, 'sensor-rail-temperature': true,
      'sensor-meter-temperature': true, converter: true, driver: true, meter: true, calibration: true, fuses: true,
    };
    expect(firstColumn('LINE-60')).toEqual(Object.keys(codes));
    for (const code of [...Object.keys(codes), 'interlock-door', 'constructor']) {
      expect(faultText(code), code).toMatch(/With a fault the controller switches the injectors off.*clear the fault\.$/);
    }
    expect(faultText('interlock-door')).toContain('"interlock-door"');
  });
});
