import { expect, test } from 'vitest';
import { planFileName } from './plan-file.ts';

test.each([
  ['New sweep: 8 injectors, 400 kPa', 'new-sweep-8-injectors-400-kpa.plan.json'],
  ['../../etc/passwd', 'etc-passwd.plan.json'],
  ['Düse №7', 'du-se-no7.plan.json'],
  ['   ', 'plan.plan.json'],
  [`${'a'.repeat(59)} b`, `${'a'.repeat(59)}.plan.json`],
])('%j', (name, file) => expect(planFileName(name)).toBe(file));
