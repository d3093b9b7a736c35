/** What others stated, as it lies in their files. */
import { describe, expect, it } from 'vitest';
import { statedInText } from './stated-text.ts';

const numbersOf = (text: string) => {
  const read = statedInText('partner.csv', text);
  if (!read.ok) throw new Error(read.text);
  return read.set.numbers.map(({ of, quantity, value, expanded, voltage }) => ({ of, quantity, value, expanded, voltage }));
};

describe('CMP-6: a CSV', () => {
  const slope = { quantity: 'slope', value: 4e-3, expanded: 2e-5, voltage: 12 };

  it.each([
    ['commas', 'injector,quantity,unit,voltage_V,value,U95\nS-1,slope,g/s,12,4,0.02\n'],
    ['semicolons and decimal commas', 'injector;quantity;unit;voltage_V;value;U95\r\nS-1;slope;g/s;12;4,0;0,02\r\n'],
    ['tabs', 'injector\tquantity\tunit\tvoltage_V\tvalue\tU95\nS-1\tslope\tg/s\t12\t4\t0.02'],
    ['a byte order mark and an empty line', '\uFEFFinjector,quantity,unit,voltage_V,value,U95\n\nS-1,slope,g/s,12,4,0.02\n'],
    ['quoted fields', '"injector","quantity","unit","voltage_V","value","U95"\n"S-1","slope","g/s","12","4","0.02"\n'],
  ])('with %s is read', (_, text) => expect(numbersOf(text)).toEqual([{ of: 'S-1', ...slope }]));

  it('keeps separators, quotes and line breaks inside of quoted fields', () => {
    expect(numbersOf('injector,quantity,unit,voltage_V,value,U95\n"S ""1"", left\nside",slope,g/s,12,4,0.02\nS-2,slope,g/s,12,4,0.02\n').map((n) => n.of)).toEqual(['S "1", left\nside', 'S-2']);
  });

  it('with a quote that does not end, or a row without its value, is refused in words', () => {
    expect(statedInText('p.csv', 'injector,quantity,unit,value,U95\n"S-1,slope,g/s,4,0.02\n')).toMatchObject({ ok: false, text: expect.stringContaining('p.csv is no CSV that can be read') as string });
    expect(statedInText('p.csv', 'injector,quantity,unit,value,U95\nS-1,slope,g/s\n')).toMatchObject({ ok: false, text: expect.stringContaining('row 2') as string });
    expect(statedInText('p.csv', '')).toMatchObject({ ok: false, text: expect.stringContaining('has no column') as string });
  });

  it('with nothing that is compared is refused', () => expect(statedInText('p.csv', 'injector,quantity,unit,value,U95\nS-1,colour,,4,1\n')).toMatchObject({ ok: false, text: expect.stringContaining('holds no dead time') as string }));
});
