import { pathTo } from '../address/route.ts';

/** The serial number of an injector, wherever it stands: it leads to the life of that one. WIN-86 */
export function SerialLink({ of }: { readonly of: string }) {
  return (
    <a href={pathTo('injectors', of)} title={`Life of ${of}`}>
      {of}
    </a>
  );
}
