import { expect, it } from 'vitest';
import { unfitNode } from './sqlite.ts';

it('an old Node is told so in a sentence, before native code could end the process', () => {
  expect(unfitNode({ ...process.versions, node: '20.20.2', napi: '9' })).toMatch(
    /needs Node 24 .*this is Node 20\.20\.2 .*Nothing was opened\. Start the program with "npm start"/,
  );
  expect(unfitNode({ ...process.versions, napi: '10' })).toBeNull();
  expect(unfitNode()).toBeNull();
});
