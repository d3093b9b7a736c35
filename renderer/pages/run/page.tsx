import { Notice } from '../../components/status.tsx';
import { Page } from '../../components/page.tsx';

export default function RunPage() {
  return (
    <Page title="Run">
      <Notice tone="off">This page is not there yet.</Notice>
    </Page>
  );
}
