import { describe, expect, it } from 'vitest';
import { readAudit } from './audit.ts';

describe('audit of the packages', () => {
  it('says that nothing was audited where the registry has no list', () => {
    const { lines, holds } = readAudit('{"message":"405 Method Not Allowed"}');
    expect(lines[0]).toMatch(/^NOT AUDITED/);
    expect(holds).toBe(true);
    expect(readAudit('').lines[0]).toMatch(/^NOT AUDITED/);
  });

  it('does not hold where a package has an advisory, and names it', () => {
    const { lines, holds } = readAudit('{"vulnerabilities":{"left":{"severity":"high","range":"<2","via":[{"title":"Reads beyond its end"}]}}}');
    expect(holds).toBe(false);
    expect(lines[0]).toBe('high: left <2: Reads beyond its end');
    expect(readAudit('{"vulnerabilities":{}}').holds).toBe(true);
  });
});
