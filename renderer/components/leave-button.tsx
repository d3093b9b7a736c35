import { Button } from './button.tsx';
import { ConfirmButton } from './dialog.tsx';

/** Out of a decision without making it; a reason that was begun is asked about first (WIN-32). */
export function LeaveButton({ reason, onLeave }: { readonly reason: string; readonly onLeave: () => void }) {
  if (reason.trim() !== '') {
    return (
      <ConfirmButton question="The reason that was begun is gone then." confirm="Throw it away" onConfirm={onLeave}>
        Leave it as it is
      </ConfirmButton>
    );
  }
  return (
    <Button kind="quiet" onPress={onLeave}>
      Leave it as it is
    </Button>
  );
}
