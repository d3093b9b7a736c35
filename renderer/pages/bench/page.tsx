import { Page } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { useHost } from '../../host/host.ts';
import { LinkState, Safety } from './bench-state.tsx';
import { ByHand } from './by-hand.tsx';
import { Connect } from './connect.tsx';
import { EquipmentPart } from './equipment-part.tsx';
import { Readings } from './readings.tsx';
import './bench.css';

/** The bench as it is now, and work on it by hand. */
export default function BenchPage() {
  const { bench } = useHost();
  if (bench.state !== 'connected') {
    return (
      <Page title="Bench" lead="No bench is connected. Choose one: the simulated bench behaves like a real one and needs no hardware.">
        <div className="sections">
          <Connect />
          <EquipmentPart />
          <Cautions />
        </div>
      </Page>
    );
  }
  const name = `${bench.identity.model} ${bench.identity.serialNumber}`;
  return (
    <Page title="Bench" lead={bench.simulated ? `${name} is simulated: readings behave like those of a real bench, and nothing is energised.` : `${name}: real pressure, real fuel, real current.`}>
      <Readings bench={bench} />
      <div className="bench-parts">
        <Safety bench={bench} />
        <ByHand bench={bench} />
        <LinkState bench={bench} />
        <EquipmentPart />
      </div>
    </Page>
  );
}

function Cautions() {
  return (
    <Notice tone="note">
      <strong>Before a real bench is connected</strong>
      <ul>
        <li>The fluid is flammable. Ventilation on, no ignition source, an extinguisher at hand.</li>
        <li>The rail is under pressure, also with the supply off. Cover closed, lines tight, eyes protected.</li>
        <li>Drivers and coils are energised and get hot once the bench is armed.</li>
        <li>PC software is not a safety function. Know where the emergency stop of the bench is, and that it works.</li>
      </ul>
    </Notice>
  );
}
