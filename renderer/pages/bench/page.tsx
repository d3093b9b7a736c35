import { Notice } from '../../components/status.tsx';
import { Page } from '../../components/page.tsx';

export default function BenchPage() {
  return (
    <Page title="Bench">
      <Notice tone="off">This page is not there yet.</Notice>
    </Page>
  );
}
