import { describe, expect, it } from 'vitest';
import { jpegBase64, madePng, pngChunk, pngSignature, pngSize } from './photo.test-helper.ts';
import { mostPhotoBytes, readPhoto } from './photo.ts';
import { coilAt20, correctedBy, readStatedVisit } from './visit.ts';

const stated = {
  visitVersion: 1, serialNumber: 'RH4-0117', type: 'RH-P4', order: 'J-1', stage: 'as-found', doneOn: '2026-03-31', by: 'A. Tester', visual: 'varnish on the nozzle', coil: null, insulation: null, leak: null,
  spray: '', remark: '', corrects: null,
};
const read = (change: object, photos = 0) => readStatedVisit({ ...stated, ...change }, { photos, latest: '2026-03-31' });
const problems = (change: object, photos = 0): readonly string[] => {
  const found = read(change, photos);
  return found.ok ? [] : found.problems.map(({ path }) => path);
};

describe('WIN-80: what is stated of a visit', () => {
  it('is taken whole, and everything that is wrong with it is named at once', () => {
    expect(problems({})).toEqual([]);
    expect(problems({ coil: { ohm: 12.1, expandedOhm: 0.02, celsius: 23, expandedKelvin: null }, insulation: { megohm: 550, least: true, volts: 500 }, leak: { mlPerMinute: 0, kilopascals: 300 } })).toEqual([]);
    expect(problems({ coil: { ohm: -1, expandedOhm: null, celsius: 400, expandedKelvin: null }, stage: 'new', doneOn: '31.3.2026', by: ' ' })).toEqual(['stage', 'doneOn', 'by', 'coil.ohm', 'coil.celsius']);
    expect(problems({ visual: 'two\nlines' })).toEqual(['visual']);
  });

  it('is of no later day, has something in it, and a correction says why', () => {
    expect(problems({ doneOn: '2026-04-01' })).toEqual(['doneOn']);
    expect(problems({ visual: '  ' })).toEqual(['']);
    expect(problems({ visual: '' }, 1)).toEqual([]);
    expect(problems({ corrects: 3 })).toEqual(['remark']);
    expect(problems({ corrects: 3, remark: 'the meter was on another range' })).toEqual([]);
    expect(correctedBy([{ no: 1, record: { corrects: null } }, { no: 2, record: { corrects: 1 } }])).toEqual(new Map([[1, 2]]));
  });
});

describe('WIN-81: a coil referred to 20 degC', () => {
  const at = (ohm: number, celsius: number, expandedOhm: number | null = 0.02, expandedKelvin: number | null = 1) => coilAt20({ ohm, celsius, expandedOhm, expandedKelvin });

  it('goes by the coefficient of IEC 60028, which is near the 235 degC of IEC 60034-1', () => {
    expect(at(12, 20).ohm).toBe(12);
    expect(at(12, 30).ohm).toBeCloseTo(12 / 1.0393, 12);
    for (const celsius of [0, 10, 25, 40]) expect(at(12, celsius).ohm / ((12 * (235 + 20)) / (235 + celsius))).toBeCloseTo(1, 3);
  });

  it('has the uncertainty of the meter, of the temperature and of the coefficient, and none where one was not stated', () => {
    // By differences: each quantity moved alone.
    const [ohm, celsius, expandedOhm, expandedKelvin] = [12, 35, 0.02, 1.5];
    const { ohm: referred, expanded } = at(ohm, celsius, expandedOhm, expandedKelvin);
    const moved = (by: { ohm?: number; celsius?: number }) => at(ohm + (by.ohm ?? 0), celsius + (by.celsius ?? 0)).ohm - referred;
    const byCoefficient = ohm / (1 + 0.00393 * 1.02 * 15) - referred;
    expect(expanded).toBeCloseTo(Math.hypot(moved({ ohm: expandedOhm }), moved({ celsius: expandedKelvin }), byCoefficient), 3);
    expect(at(12, 20, 0.02, 0).expanded).toBeCloseTo(0.02, 12);
    expect(at(12, 30, null, 1).expanded).toBeNull();
    expect(at(12, 30, 0.02, null).expanded).toBeNull();
  });
});

describe('WIN-82: a photo is what it says', () => {
  const jpeg = Uint8Array.from(atob(jpegBase64), (letter) => letter.charCodeAt(0));
  const png = madePng(20, 10);
  const why = (bytes: Uint8Array, name: string): string => {
    const found = readPhoto(bytes, name);
    return found.ok ? '' : found.text;
  };

  it('has its kind and size from its own bytes', () => {
    expect(readPhoto(jpeg, 'spray.JPG')).toEqual({ ok: true, photo: { media: 'image/jpeg', width: 16, height: 12 } });
    expect(readPhoto(png, 'spray.png')).toEqual({ ok: true, photo: { media: 'image/png', width: 20, height: 10 } });
    // A telephone writes more behind it.
    expect(readPhoto(new Uint8Array([...jpeg, 1, 2, 3]), 'a.jpeg').ok).toBe(true);
  });

  it('is refused where it is another kind, none, too large, or none that a page could draw', () => {
    expect(why(jpeg, 'a.png')).toContain('it is JPEG');
    expect(why(png, 'a.jpg')).toContain('it is PNG');
    expect(why(new TextEncoder().encode('<svg xmlns="http://www.w3.org/2000/svg"/>'), 'a.png')).toContain('neither JPEG nor PNG');
    expect(why(jpeg, 'a.gif')).toContain('another ending');
    expect(why(new Uint8Array(mostPhotoBytes + 1), 'a.png')).toContain('at most');
    const huge = new Uint8Array([...pngSignature, ...pngSize(60_000, 60_000), ...pngChunk('IDAT', [0]), ...pngChunk('IEND', [])]);
    expect(why(huge, 'a.png')).toContain('60000 x 60000');
    expect(why(new Uint8Array([...pngSignature, ...pngSize(9, 9), ...pngChunk('IEND', [])]), 'a.png')).toContain('no pixels');
  });

  it('is refused wherever it was cut off, and a PNG wherever a byte is another', () => {
    for (const [bytes, name] of [[jpeg, 'a.jpg'], [png, 'a.png']] as const) {
      for (let length = 0; length < bytes.length; length += 1) expect(readPhoto(bytes.subarray(0, length), name).ok, `${name} of ${length} bytes`).toBe(false);
    }
    for (let at = 0; at < png.length; at += 1) expect(readPhoto(png.with(at, (png[at] ?? 0) ^ 4), 'a.png').ok, `byte ${at}`).toBe(false);
  });
});
