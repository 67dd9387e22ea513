/**
 * Pages by address, so that a reload and the back button keep the place: #/wall, #/sheet/ID, #/day,
 * #/cut, #/ledger; #/pair/CODE is what a phone scans.
 */
import { createSignal } from 'solid-js';

export type Page =
  | { page: 'wall' }
  | { page: 'sheet'; id: string }
  | { page: 'day' }
  | { page: 'cut' }
  | { page: 'ledger' }
  | { page: 'pair'; code: string };

function read(): Page {
  const [page, id] = location.hash.replace(/^#\/?/, '').split('/');
  if (page === 'sheet' && id !== undefined && id !== '') return { page: 'sheet', id: decodeURIComponent(id) };
  if (page === 'pair') return { page: 'pair', code: decodeURIComponent(id ?? '') };
  if (page === 'day' || page === 'cut' || page === 'ledger') return { page };
  return { page: 'wall' };
}

const [here, setHere] = createSignal<Page>(read());
window.addEventListener('hashchange', () => setHere(read()));
export { here };
