/** What the controller and the host count and name, in words. Names that this version does not know are shown as they are. */

interface InterlockWords {
  readonly name: string;
  readonly closed: string;
  readonly open: string;
}

const interlocks: Readonly<Record<string, InterlockWords>> = {
  'emergency-stop': { name: 'Emergency stop', closed: 'released', open: 'pressed' },
  cover: { name: 'Cover', closed: 'closed', open: 'open' },
  ventilation: { name: 'Ventilation', closed: 'running', open: 'not running' },
};

function interlockWords(name: string): InterlockWords {
  return interlocks[name] ?? { name: sentence(name), closed: 'closed', open: 'open' };
}

/** Interlocks of a frame in the order of the controller's list; a 1 bit is closed (healthy). */
export function interlocksOf(names: readonly string[], bits: number): readonly (InterlockWords & { readonly healthy: boolean })[] {
  return names.map((name, bit) => ({ ...interlockWords(name), healthy: Math.floor(bits / 2 ** bit) % 2 === 1 }));
}

const counts: Readonly<Record<string, string>> = {
  linesSent: 'Lines sent',
  linesSentAgain: 'of these sent again, because no answer came',
  heartbeats: 'Heartbeats',
  replies: 'Replies',
  telemetry: 'Telemetry frames',
  staleAnswers: 'Late or repeated answers, dropped',
  'badLines.too-long': 'Lines dropped: too long',
  'badLines.not-printable': 'Lines dropped: not printable',
  'badLines.no-checksum': 'Lines dropped: no checksum',
  'badLines.wrong-checksum': 'Lines dropped: wrong checksum',
  'badLines.form': 'Lines dropped: not of the agreed form',
};

/** The host's statistics of the line as rows of words and counts. */
export function statisticsRows(statistics: Readonly<Record<string, unknown>>, path = ''): readonly { readonly text: string; readonly count: number }[] {
  return Object.entries(statistics).flatMap(([key, value]) => {
    const name = path === '' ? key : `${path}.${key}`;
    if (typeof value === 'number') return [{ text: counts[name] ?? sentence(name), count: value }];
    return typeof value === 'object' && value !== null ? statisticsRows(value as Readonly<Record<string, unknown>>, name) : [];
  });
}

function sentence(name: string): string {
  const words = name.replaceAll(/[-_.]/g, ' ').replaceAll(/(?<=[a-z])(?=[A-Z])/g, ' ').toLowerCase();
  return words.charAt(0).toUpperCase() + words.slice(1);
}
