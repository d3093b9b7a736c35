import { Notice } from '../../components/status.tsx';
import { Page } from '../../components/page.tsx';

export default function ArchivePage() {
  return (
    <Page title="Archive">
      <Notice tone="off">This page is not there yet.</Notice>
    </Page>
  );
}
