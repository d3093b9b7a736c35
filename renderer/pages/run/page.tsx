import { Page } from '../../components/page.tsx';
import { useRoute } from '../../address/route.ts';
import { useHost } from '../../host/host.ts';
import { Opening } from './opening.tsx';
import { RunView } from './run-view.tsx';
import './run.css';

/** The run that the address names, else the one that is open on the bench, else how to open one. */
export default function RunPage() {
  const { rest } = useRoute();
  const { line, openRun } = useHost();
  const id = rest[0] ?? openRun;
  if (id === null && line.state === 'connecting') {
    return (
      <Page title="Run">
        <p role="status">{line.text}</p>
      </Page>
    );
  }
  return id === null ? <Opening /> : <RunView key={id} id={id} />;
}
