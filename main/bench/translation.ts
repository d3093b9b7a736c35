/** From the words of the line to those of the bench port, in SI. */
import type { BenchFault, BenchFrame, BenchReply } from '../../app/bench/port.ts';
import { readingsFromWire } from '../../app/bench/readings.ts';
import { seconds } from '../../app/quantities/quantity.ts';
import type { Telemetry } from '../../firmware-protocol/line/messages.ts';
import type { LinkAnswer } from '../link/link.ts';

export function asBenchReply(answer: LinkAnswer): BenchReply {
  switch (answer.kind) {
    case 'reply':
      return { kind: 'done' };
    case 'refused':
      return answer;
    case 'no-answer':
      return { kind: 'no-answer', text: answer.text };
  }
}

export function asBenchFrame(t: Telemetry, fault: BenchFault | null): BenchFrame {
  return {
    at: seconds(t.atUs / 1e6),
    number: t.frame,
    bootId: t.boot,
    ...readingsFromWire(t),
    edges: t.edges,
    lastEdgeAt: seconds(t.lastEdgeUs / 1e6),
    burst: { number: t.burst, active: t.active, commanded: t.commanded, done: t.done },
    armed: t.armed,
    fault,
    interlocks: t.interlocks,
  };
}
