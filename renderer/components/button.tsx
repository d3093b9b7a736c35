import type { ReactNode } from 'react';
import { Button as AriaButton } from 'react-aria-components';

interface ButtonProps {
  readonly children: ReactNode;
  readonly onPress: () => void;
  /** `primary`: the one main action of a page, at most one. `quiet`: without a frame. */
  readonly kind?: 'primary' | 'plain' | 'quiet';
  /** Why it cannot be pressed now, in a sentence; absent or empty: it can. It stays in the order of keys and says so. */
  readonly against?: string | undefined;
  readonly busy?: boolean;
  /** Where the text alone does not say enough. */
  readonly label?: string;
  readonly autoFocus?: boolean;
  readonly type?: 'button' | 'submit';
}

/** A button that says why it cannot be used instead of going silent. */
export function Button({ children, onPress, kind = 'plain', against = '', busy = false, label, autoFocus, type }: ButtonProps) {
  const off = against !== '' || busy;
  return (
    <AriaButton
      className={`button button-${kind}`}
      aria-disabled={off}
      {...(label === undefined ? {} : { 'aria-label': label })}
      {...(autoFocus === undefined ? {} : { autoFocus })}
      {...(type === undefined ? {} : { type })}
      onPress={() => {
        if (!off) onPress();
      }}
    >
      {children}
      {against !== '' && <span className="button-against">{against}</span>}
    </AriaButton>
  );
}
