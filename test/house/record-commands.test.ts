/** Records of types and of visits as a shell sees them. */
import { spawnSync } from 'node:child_process';
import { rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { openArchive } from '../../main/archive/archive.ts';
import { machineClock, machineEntropy } from '../../main/clock/machine.ts';
import { scratchFolder } from '../builders/in-process.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');
let folder = '';

function cli(args: readonly string[], input = ''): { readonly code: number | null; readonly out: string; readonly err: string } {
  const { status, stdout, stderr } = spawnSync(process.execPath, [command, ...args, '--archive', join(folder, 'archive.sqlite')], { encoding: 'utf8', input });
  return { code: status, out: stdout, err: stderr };
}

function file(name: string, document: unknown): string {
  const path = join(folder, name);
  writeFileSync(path, JSON.stringify(document));
  return path;
}

beforeAll(() => {
  folder = scratchFolder();
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const record = { typeRecordVersion: 1, type: 'RH-P4', staticFlowGPerMin: 240.5, flowPressureKpa: 300, minVoltageV: 8, maxVoltageV: 16, minWidthMs: 1.5 };
const save = (path: string, ...more: readonly string[]) => cli(['type-record', 'save', path, '--operator', 'A. Tester', '--reason', 'from the maker', ...more]);

describe('type-record', () => {
  it('CLI-51 saves a record as the next version of its type with who and why, and nothing that is wrong or overtaken', () => {
    expect(cli(['type-record', 'list']).code).toBe(7);
    const saved = save(file('type.json', record));
    expect(saved).toMatchObject({ code: 0, err: '' });
    expect(saved.out).toMatch(/^RH-P4 {2}version 1 {2}.*by A\. Tester: from the maker\n {2}240\.5 g\/min at 300 kPa; from 8 to 16 V; from 1\.5 ms\n$/u);
    const wrong = save(file('wrong.json', { ...record, minVoltageV: 17, staticFlowGPerMin: -1, colour: 'green' }));
    expect(wrong.code).toBe(2);
    for (const place of ['staticFlowGPerMin', 'colour']) expect(wrong.err).toContain(place);
    expect(cli(['type-record', 'save', file('type.json', record), '--operator', 'A. Tester'])).toMatchObject({ code: 2 });
    expect(save(file('type.json', { ...record, maxVoltageV: 15 }), '--based-on', '1').code).toBe(0);
    const overtaken = save(file('type.json', record), '--based-on', '1');
    expect(overtaken.code).toBe(2);
    expect(overtaken.err).toContain('Version 2 of RH-P4 was saved meanwhile');
    expect(cli(['type-record', 'list', '--versions', 'RH-P4']).out.match(/version \d/gu)).toEqual(['version 2', 'version 1']);
  });

  it('CLI-52 what is shown is saved again as it was, an earlier version too', () => {
    const shown = cli(['type-record', 'show', 'RH-P4', '--at-version', '1']);
    expect(JSON.parse(shown.out)).toEqual(record);
    expect(cli(['type-record', 'save', '-', '--operator', 'B. Tester', '--reason', 'as it was'], shown.out).code).toBe(0);
    expect(JSON.parse(cli(['type-record', 'show', 'RH-P4']).out)).toEqual(record);
    const [line = ''] = cli(['type-record', 'list', '--json']).out.split('\n');
    expect(JSON.parse(line)).toMatchObject({ type: 'RH-P4', version: 3, savedBy: 'B. Tester', reason: 'as it was', record });
    expect(cli(['type-record', 'show', 'none'])).toMatchObject({ code: 2, err: expect.stringContaining('holds no record of the type none') as string });
    expect(cli(['type-record', 'show', 'RH-P4', '--at-version', '9'])).toMatchObject({ code: 2, err: expect.stringContaining('its latest is 3') as string });
    expect(cli(['verify']).code).toBe(0);
  });
});

describe('visit', () => {
  const visit = {
    visitVersion: 1, serialNumber: 'S-1', type: 'T', order: 'J-1', stage: 'as-found', doneOn: '2026-03-02', by: 'A. Tester', visual: 'deposit at the tip', spray: '', remark: '',
    coil: { ohm: 12.1, expandedOhm: 0.02, celsius: 23, expandedKelvin: 0.5 }, insulation: { megohm: 200, least: true, volts: 500 }, leak: { mlPerMinute: 0, kilopascals: 400 }, corrects: null,
  };
  /** One pixel (ISO/IEC 15948). */
  const png = Buffer.from('iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==', 'base64');

  it('CLI-53 keeps a record with its photos for good, and nothing of one that is wrong', () => {
    const photo = join(folder, 'tip.png');
    writeFileSync(photo, png);
    expect(cli(['visit', 'add', file('visit.json', visit), '--photo', photo])).toMatchObject({ code: 0, err: '' });
    const wrong = cli(['visit', 'add', file('wrong.json', { ...visit, doneOn: '2199-01-01', coil: { ohm: -1 } })]);
    expect(wrong.code).toBe(2);
    expect(wrong.err).toContain('coil.ohm');
    expect(cli(['visit', 'add', file('visit.json', { ...visit, doneOn: '2199-01-01' })])).toMatchObject({ code: 2, err: expect.stringContaining('has not come yet') as string });
    writeFileSync(join(folder, 'cut.png'), png.subarray(0, 40));
    expect(cli(['visit', 'add', file('visit.json', visit), '--photo', join(folder, 'cut.png')])).toMatchObject({ code: 2, err: expect.stringContaining('Nothing was kept') as string });
    expect(cli(['visit', 'add', file('visit.json', visit), '--photo', join(folder, 'none.png')]).code).toBe(2);
    expect(cli(['visit', 'add', file('visit.json', { ...visit, corrects: 9, remark: 'read wrongly' })])).toMatchObject({ code: 2, err: expect.stringContaining('no record 9') as string });
    expect(cli(['visit', 'list']).out.match(/^Record \d/gmu)).toEqual(['Record 1']);
  });

  it('CLI-54 lists what was kept, the latest first, with what corrects what, and prints a record as it was kept', () => {
    expect(cli(['visit', 'add', file('visit.json', { ...visit, coil: { ...visit.coil, ohm: 12.2 }, corrects: 1, remark: 'read wrongly' })]).code).toBe(0);
    const { out } = cli(['visit', 'list', 'S-1']);
    expect(out.match(/^Record.*/gmu)).toEqual([expect.stringMatching(/^Record 2 .*\(corrects record 1\)$/u), expect.stringMatching(/^Record 1 .*\(corrected by record 2\)$/u)]);
    // 12.1 / (1 + 0.00393 * 3), by hand.
    expect(out).toContain('coil 11.959 ± 0.031 ohm at 20 degC (read 12.1 ohm at 23 degC)');
    expect(out).toContain('insulation above 200 Mohm at 500 V');
    expect(JSON.parse(cli(['visit', 'show', '1']).out)).toMatchObject({ ...visit, photos: [{ media: 'image/png', width: 1, height: 1, shows: 'tip' }] });
    expect(cli(['visit', 'list', 'none'])).toMatchObject({ code: 2 });
    expect(cli(['visit', 'show', '9'])).toMatchObject({ code: 2 });
    expect(cli(['verify']).code).toBe(0);
  });
});

describe('injector', () => {
  it('CLI-70, CLI-71 withdraws an injector that was booked in by mistake with who and why, lists it, and takes that back; two of one serial number are told apart by their types', () => {
    const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => machineClock.unixNow(), entropy: machineEntropy });
    if (!opened.ok) throw new Error(opened.text);
    const about = { order: 'J-1', coilResistanceOhm: 12.1, condition: 'clean' };
    opened.archive.library.saveParts([{ ...about, type: 'T', serialNumber: 'S-1', channel: 1 }, { ...about, type: 'T', serialNumber: 'S-2', channel: 2 }, { ...about, type: 'U', serialNumber: 'S-2', channel: null }]);
    opened.archive.close();
    const withdrawing = (...more: readonly string[]) => cli(['injector', 'withdraw', ...more, '--operator', 'A. Tester']);
    expect(withdrawing('S-2', '--reason', 'mistyped')).toMatchObject({ code: 2, err: expect.stringContaining('2 types have the serial number S-2: T, U') as string });
    expect(withdrawing('S-2', '--type', 'U')).toMatchObject({ code: 2 });
    expect(withdrawing('S-2', '--type', 'U', '--reason', ' ')).toMatchObject({ code: 2 });
    expect(withdrawing('S-2', '--type', 'U', '--reason', 'mistyped').out).toMatch(/^U S-2 {2}withdrawn .*Z by A\. Tester: mistyped\n$/u);
    expect(cli(['injector', 'list']).out).toBe('T S-1  job J-1, channel 1, coil 12.1 ohm, clean\nT S-2  job J-1, channel 2, coil 12.1 ohm, clean\n');
    expect(JSON.parse(cli(['injector', 'list', '--withdrawn', '--json']).out)).toMatchObject({ type: 'U', serialNumber: 'S-2', withdrawn: { by: 'A. Tester', reason: 'mistyped' } });
    expect(cli(['injector', 'take-back', 'S-1', '--operator', 'A. Tester'])).toMatchObject({ code: 2, err: expect.stringContaining('is withdrawn') as string });
    expect(cli(['injector', 'take-back', 'S-2', '--operator', 'A. Tester'])).toMatchObject({ code: 0, out: 'U S-2  job J-1, not mounted, coil 12.1 ohm, clean\n' });
    expect(cli(['injector', 'list', '--withdrawn']).out).toBe('No injector is withdrawn.\n');
    expect(cli(['verify']).code).toBe(0);
  });
});
