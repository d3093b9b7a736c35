import { Notice } from '../../components/status.tsx';
import { Page } from '../../components/page.tsx';

export default function PlansPage() {
  return (
    <Page title="Plans">
      <Notice tone="off">This page is not there yet.</Notice>
    </Page>
  );
}
