/**
 * The viewer's keys. J and L step back and on (held: play), K stops, arrows step, with shift ten frames (with a tool in
 * hand they move a crosshair, and the space bar puts a point); Home and End; 1 shows pixels one to one, 0 fits; W
 * wipes, D takes the difference; O overlays; M marks.
 */
import { onCleanup } from 'solid-js';
import type { Facts } from './facts.js';
import type { Look } from './look.js';
import type { Marking } from './marking.js';
import type { MarkTool } from './mark-tools.js';
import type { Player } from './player.js';
import type { Pointing } from './pointing.js';
import { closeViewer } from './state.js';

/** What the keys act on. */
export interface Keyed {
  readonly facts: Facts;
  readonly player: Player;
  readonly look: Look;
  readonly marking: Marking;
  readonly pointing: Pointing;
}

/** Listens while the viewer is open. */
export function useKeys(on: Keyed): void {
  const onKey = (e: KeyboardEvent): void => {
    const typing =
      e.target instanceof HTMLElement &&
      /^(INPUT|TEXTAREA|SELECT)$/.test(e.target.tagName) &&
      (e.target as HTMLInputElement).type !== 'range';
    // Out of a field first: then the keys are the viewer's again.
    if (typing) {
      if (e.key === 'Escape') (e.target as HTMLElement).blur();
      return;
    }
    const k = e.key.toLowerCase();
    const drawing = on.marking.tool();
    const withControl = e.ctrlKey || e.metaKey || e.altKey;
    if (drawing !== null && !withControl && drawByKey(on, drawing, k, e)) return;
    // A button in focus is pressed by Enter and the space bar, but for the tool in hand whose outline Enter closes.
    const closes = k === 'enter' && drawing !== null && drawing.points === null && on.marking.points().length >= 3;
    if (
      (k === 'enter' || k === ' ') &&
      e.target instanceof HTMLButtonElement &&
      !(closes && e.target.getAttribute('aria-pressed') === 'true')
    )
      return;
    const f = actions(on, e)[k];
    if (f !== undefined && !withControl) {
      e.preventDefault();
      e.stopPropagation();
      f();
    }
  };
  // On the window: a button that goes away under the hand (a mark removed) leaves the keyboard with no element in here.
  window.addEventListener('keydown', onKey);
  onCleanup(() => window.removeEventListener('keydown', onKey));
}

/** The crosshair steered, or a point put where it stands; false where the key is not for the tool in hand. */
function drawByKey({ facts, marking, pointing }: Keyed, drawing: MarkTool, k: string, e: KeyboardEvent): boolean {
  const { points, place } = marking;
  const { cross, round, steer } = pointing;
  if (drawing.points === 0) return false;
  const by = e.shiftKey ? Math.max(10, Math.round(facts().width / 40)) : 1;
  const way = (
    { arrowleft: [-by, 0], arrowright: [by, 0], arrowup: [0, -by], arrowdown: [0, by] } as Record<
      string,
      [number, number]
    >
  )[k];
  // On a button the space bar and Enter are the button's own, but for the tool that is in hand.
  const onOther = e.target instanceof HTMLButtonElement && e.target.getAttribute('aria-pressed') !== 'true';
  const puts =
    cross() !== null && !onOther && (k === ' ' || (k === 'enter' && (drawing.points !== null || points().length < 3)));
  if (way === undefined && !puts) return false;
  e.preventDefault();
  e.stopPropagation();
  if (way !== undefined) steer(...way);
  else place(drawing, round(cross()!));
  return true;
}

/** What each key does. */
function actions({ facts, player, look, marking }: Keyed, e: KeyboardEvent): Record<string, () => void> {
  const { frame, go, speed, setSpeed, stopAt } = player;
  const { zoom, setZoom, fitScale, toggle, overlays, setOverlays, showMarks, setShowMarks } = look;
  const { tool, setTool, points, setPoints, finish, removeChosen } = marking;
  return {
    arrowright: () => stopAt(frame() + (e.shiftKey ? 10 : 1)),
    arrowleft: () => stopAt(frame() - (e.shiftKey ? 10 : 1)),
    home: () => go(facts().first),
    end: () => go(facts().last),
    l: () => setSpeed(speed() > 0 ? Math.min(4, speed() * 2) : 1),
    j: () => setSpeed(speed() < 0 ? Math.max(-4, speed() * 2) : -1),
    k: () => setSpeed(0),
    ' ': () => setSpeed(speed() === 0 ? 1 : 0),
    '1': () => setZoom(1),
    '0': () => setZoom(null),
    '+': () => setZoom(Math.min(8, (zoom() ?? fitScale()) * 1.5)),
    '-': () => setZoom(Math.max(0.1, (zoom() ?? fitScale()) / 1.5)),
    w: () => toggle('wipe'),
    d: () => toggle('difference'),
    o: () => setOverlays(!overlays()),
    m: () => setShowMarks(!showMarks()),
    enter: () => {
      const t = tool();
      if (t !== null && t.points === null && points().length >= 3) finish(t, points());
    },
    escape: () => {
      if (points().length > 0) setPoints([]);
      else if (tool() !== null) setTool(null);
      else closeViewer();
    },
    delete: removeChosen,
    backspace: () => (points().length > 0 ? setPoints(points().slice(0, -1)) : removeChosen()),
  };
}
