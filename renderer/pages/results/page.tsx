import { Notice } from '../../components/status.tsx';
import { Page } from '../../components/page.tsx';

export default function ResultsPage() {
  return (
    <Page title="Results">
      <Notice tone="off">This page is not there yet.</Notice>
    </Page>
  );
}
