/** How the picture is looked at: its size on the screen, what it is held against, and what is drawn over it. */
import { createSignal, onCleanup } from 'solid-js';
import type { Facts } from './facts.js';
import type { ViewerRequest } from './state.js';

/** @param stage the room the picture has; undefined until it is drawn */
export function useLook(v: ViewerRequest, facts: Facts, stage: () => HTMLDivElement | undefined) {
  /** Screen pixels a picture pixel; null fits the picture into its room. */
  const [zoom, setZoom] = createSignal<number | null>(null);
  const [compare, setCompare] = createSignal<'none' | 'wipe' | 'difference'>('none');
  const [wipe, setWipe] = createSignal(0.5);
  const [overlays, setOverlays] = createSignal(v.overlays ?? false);
  const [showMarks, setShowMarks] = createSignal(true);
  const toggle = (way: 'wipe' | 'difference'): void => void setCompare(compare() === way ? 'none' : way);
  const fitScale = (): number => {
    const room = stage();
    return room === undefined ? 1 : Math.min(room.clientWidth / facts().width, room.clientHeight / facts().height);
  };
  const size = () =>
    zoom() === null
      ? {}
      : {
          width: `${facts().width * zoom()!}px`,
          height: `${facts().height * zoom()!}px`,
          'max-width': 'none',
          'max-height': 'none',
        };
  // Marks are as large on the screen however large the picture is shown: picture pixels to one of the screen.
  const [glassPx, setGlassPx] = createSignal(900);
  const handleScale = () => facts().width / Math.max(60, glassPx());
  const measureGlass = new ResizeObserver((all) => {
    const w = all[0]?.contentRect.width ?? 0;
    if (w > 0) setGlassPx(w);
  });
  onCleanup(() => measureGlass.disconnect());
  return {
    zoom,
    setZoom,
    compare,
    toggle,
    wipe,
    setWipe,
    overlays,
    setOverlays,
    showMarks,
    setShowMarks,
    fitScale,
    size,
    handleScale,
    measureGlass,
  };
}

/** What the viewer's parts share about how the picture is looked at. */
export type Look = ReturnType<typeof useLook>;
