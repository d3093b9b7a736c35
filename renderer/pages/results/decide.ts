/** A person's decision about which attempt counts, sent to the host. */
import { ask } from '../../host/host.ts';

export interface DecisionAnswer {
  readonly accepted: boolean;
  readonly text: string;
  /** The host of the run ended while it was going on: it has to be continued on the bench first. */
  readonly needsBench: boolean;
}

/** `attempt` null: none counts. */
export async function decide(id: string, point: number, attempt: number | null, reason: string, by: string): Promise<DecisionAnswer> {
  const reply = await ask('run.command', { id, command: { kind: 'choose', point, attempt, reason }, by, commandId: crypto.randomUUID() });
  if (!reply.ok) return { accepted: false, text: reply.failure.text, needsBench: reply.failure.code === 'refused' };
  return { accepted: reply.value.accepted, text: reply.value.reason, needsBench: false };
}

/** Opens a stored run on the bench, so that it takes decisions and commands. Empty: done. */
export async function openOnBench(id: string): Promise<string> {
  const reply = await ask('run.continue', { id });
  return reply.ok ? '' : reply.failure.text;
}
