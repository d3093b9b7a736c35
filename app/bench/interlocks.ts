/** Interlocks that stand open, in words: what was found, and what a person does about it. */

/** The contact of the emergency stop is read as an interlock; a person presses and releases it, and closes nothing. */
const emergencyStop = 'emergency-stop';

export interface OpenInterlocks {
  readonly found: string;
  readonly first: string;
}

/** `names` as the bench calls them, at least one. */
export function openInterlockWords(names: readonly string[]): OpenInterlocks {
  const others = names.filter((name) => name !== emergencyStop);
  const pressed = others.length < names.length;
  const found = [...(pressed ? ['The emergency stop of the bench is pressed.'] : []), ...(others.length > 0 ? [`Interlock open: ${others.join(', ')}.`] : [])];
  const first = [...(pressed ? ['Release it at the bench, once you know why it was pressed.'] : []), ...(others.length > 0 ? [`Close ${others.length === 1 && !pressed ? 'it' : others.join(', ')} first.`] : [])];
  return { found: found.join(' '), first: first.join(' ') };
}
