import { useId } from 'react';
import type { ReactNode } from 'react';
import { Button as AriaButton } from 'react-aria-components';

interface ButtonProps {
  readonly children: ReactNode;
  readonly onPress: () => void;
  /** `primary`: the one main action of a page, at most one. `quiet`: without a frame. */
  readonly kind?: 'primary' | 'plain' | 'quiet';
  /** Why it cannot be pressed now, in a sentence; absent or empty: it can. It stays in the order of keys and says so. */
  readonly against?: string | undefined;
  /** false where the reason stands beside the button already; readers of the screen are still told. */
  readonly showAgainst?: boolean;
  readonly busy?: boolean;
  /** Where the text alone does not say enough. */
  readonly label?: string;
  readonly autoFocus?: boolean;
}

/** A button that says why it cannot be used instead of going silent. */
export function Button({ children, onPress, kind = 'plain', against = '', showAgainst = true, busy = false, label, autoFocus }: ButtonProps) {
  const why = useId();
  const off = against !== '' || busy;
  return (
    <AriaButton
      className={`button button-${kind}`}
      aria-disabled={off}
      {...(against === '' ? {} : { 'aria-describedby': why })}
      {...(label === undefined ? {} : { 'aria-label': label })}
      {...(autoFocus === undefined ? {} : { autoFocus })}
      onPress={() => {
        if (!off) onPress();
      }}
    >
      {children}
      {against !== '' && (
        // Hidden from the name of the button, and read as its description.
        <span id={why} aria-hidden="true" className={showAgainst ? 'button-against' : 'unseen'}>
          {against}
        </span>
      )}
    </AriaButton>
  );
}
