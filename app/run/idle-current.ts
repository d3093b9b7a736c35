/** Current while nothing is driven: a driver that does not switch off holds an injector open, burst or none (RUN-131). */

/** The current of the last pulse and the averaging of the ammeter may take this long to die away, s. */
export const idleCurrentTimeout = 1;

export function idleCurrentText(amperes: number, limit: number): string {
  return (
    `${amperes.toFixed(2)} A flow while nothing is driven, at most ${limit} A allowed: a driver does not switch off, or a coil or its harness is shorted. ` +
    'An injector may be open without a pulse.'
  );
}
