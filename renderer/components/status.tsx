import type { ReactNode } from 'react';

/**
 * How things stand, always with a shape and words, never by colour alone.
 * good ✓, off ○ (not on, not wrong), note ▲ (look at it), bad ✕ (stands against work), busy ◐, unknown ?
 */
export type Tone = 'good' | 'off' | 'note' | 'bad' | 'busy' | 'unknown';

const shapes: Readonly<Record<Tone, string>> = { good: '✓', off: '○', note: '▲', bad: '✕', busy: '◐', unknown: '?' };

export function Status({ tone, children }: { readonly tone: Tone; readonly children: ReactNode }) {
  return (
    <span className={`status status-${tone}`}>
      <span className="status-shape" aria-hidden="true">
        {shapes[tone]}
      </span>
      <span>{children}</span>
    </span>
  );
}

/** A sentence that the person should read now: what happened, what is safe, what to do. `bad` ones are read out at once. */
export function Notice({ tone, children, action }: { readonly tone: Tone; readonly children: ReactNode; readonly action?: ReactNode }) {
  return (
    <div className={`notice notice-${tone}`} role={tone === 'bad' ? 'alert' : 'status'}>
      <span className="status-shape" aria-hidden="true">
        {shapes[tone]}
      </span>
      <div className="notice-text">{children}</div>
      {action}
    </div>
  );
}
