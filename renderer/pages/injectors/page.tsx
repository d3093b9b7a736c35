import { Notice } from '../../components/status.tsx';
import { Page } from '../../components/page.tsx';

export default function InjectorsPage() {
  return (
    <Page title="Injectors">
      <Notice tone="off">This page is not there yet.</Notice>
    </Page>
  );
}
