/**
 * What the window begins with: the line to the host and what the address names. All that draws comes meanwhile, in a part of its own, so that the host is
 * asked before that part has been read (WIN-172).
 */
import './style/tokens.css';
import './style/base.css';
import './style/components.css';
import './style/frame.css';
import './style/gloves.css';
import { loadAhead } from './frame/loaded-page.tsx';
import { runOfRoute } from './address/places.ts';
import { routeOf } from './address/route.ts';
import { readAhead, startHost } from './host/host.ts';
import { pages } from './pages/index.ts';
import { startTheme } from './style/theme.ts';
import { startTyped } from './typed/typed.ts';

const place = document.getElementById('window');
if (place === null) throw new Error('The page has no place for the window.');
const drawing = import('./frame/draw.tsx');
startTheme();
// What the address names comes while the host is being looked for, and the other pages once nobody waits for this one.
const route = routeOf(window.location.hash);
loadAhead(pages.filter(({ path }) => path === route.page));
const run = runOfRoute(route);
if (run !== null) readAhead(run, route.page === 'results' ? 'condensed' : 'whole');
setTimeout(() => loadAhead(pages), 3000);
startHost();
startTyped(window);
drawing.then(({ drawWindow }) => drawWindow(place)).catch((error: unknown) => {
  place.textContent = `The window could not be loaded (${error instanceof Error ? error.message : String(error)}). Load the page again.`;
});
