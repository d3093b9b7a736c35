/** `O-77_Sample-plan_2026-11-27_1a2b3c4d`: order, plan, day (UTC) and the end of the run's id, so that files of two runs can be told apart. */
export function runFileName({ order, planName, at, id }: { readonly order: string; readonly planName: string; readonly at: number; readonly id: string }): string {
  const part = (text: string): string => text.normalize('NFC').replaceAll(/[^\p{L}\p{N}.-]+/gu, '-').replaceAll(/^[-.]+|[-.]+$/gu, '').slice(0, 60);
  return [part(order), part(planName), new Date(at).toISOString().slice(0, 10), id.slice(-8)].filter((text) => text !== '').join('_');
}
