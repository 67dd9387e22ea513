/**
 * The large viewer: a picture on neutral grey, frame by frame. J and L step back and on (held: play), K stops, arrows
 * step, with shift ten frames (with a tool in hand they move a crosshair, and the space bar puts a point); Home and
 * End; 1 shows pixels one to one, 0 fits; W wipes, D takes the difference; O overlays.
 */
import { createEffect, createMemo, createSignal, For, on, onCleanup, Show, type JSX } from 'solid-js';
import type { Mark, MarksFile } from '../../../src/plate/marks.js';
import type { ProposedMark } from '../../../src/plate/propose-marks.js';
import { book, clearTrouble, edit, frameUrl, proposeMarks, readPixel, trouble, undo } from '../api.js';
import { MarkChoice, MarkFields } from './mark-fields.js';
import { handles, MarkShape, withHandle, type P } from './mark-shapes.js';
import { MarkPalette } from './mark-palette.js';
import { takesPlaceOf } from '../../../src/plate/one-a-frame.js';
import { TOOLS, type MarkTool } from './mark-tools.js';
import { Overlays } from './overlays.js';
import { Proposals } from './proposals.js';
import { closeViewer, viewer, type ViewerRequest } from './state.js';

export function Viewer(): JSX.Element {
  return (
    <Show when={viewer()} keyed>
      {(v) => <Open request={v} />}
    </Show>
  );
}

/** Size, rate and frame count of what is shown. */
function useFacts(v: ViewerRequest) {
  return createMemo(() => {
    const b = book();
    const film = v.what === 'film' ? b?.films.find((f) => f.id === v.id) : undefined;
    const pick = v.what === 'plate' || v.what === 'join' ? b?.picks.find((p) => p.id === v.id) : undefined;
    const take = v.what === 'take' ? b?.takes.find((t) => t.id === v.id) : undefined;
    const pickFilm = pick === undefined ? undefined : b?.films.find((f) => f.id === pick.film);
    const video = film?.info.video ?? take?.info.video ?? pickFilm?.info.video ?? null;
    const render = v.what === 'join' ? b?.joins.find((j) => j.id === v.id)?.render : undefined;
    const first = v.in ?? 0;
    const last = (v.out ?? render?.frames ?? (pick !== undefined ? pick.out - pick.in : (video?.frameCount ?? 1))) - 1;
    return {
      video,
      pick,
      take,
      first,
      last,
      width: video?.widthPx ?? 16,
      height: video?.heightPx ?? 9,
      fps: video === null ? 24 : video.rate.num / video.rate.den,
    };
  });
}

function Open(props: { request: ViewerRequest }): JSX.Element {
  const v = props.request;
  // The keyboard goes back to where it was when the viewer closes.
  const opener = document.activeElement;
  onCleanup(() =>
    queueMicrotask(() => {
      if (opener instanceof HTMLElement && opener.isConnected) opener.focus();
    }),
  );
  const facts = useFacts(v);
  const [frame, setFrame] = createSignal(Math.min(facts().last, Math.max(facts().first, v.start)));
  const [shown, setShown] = createSignal(frame());
  const [speed, setSpeed] = createSignal(0);
  const [zoom, setZoom] = createSignal<number | null>(null);
  const [compare, setCompare] = createSignal<'none' | 'wipe' | 'difference'>('none');
  const [wipe, setWipe] = createSignal(0.5);
  const [overlays, setOverlays] = createSignal(v.overlays ?? false);
  const [showMarks, setShowMarks] = createSignal(true);
  const [pixel, setPixel] = createSignal<string>('');
  const [at, setAt] = createSignal<P | null>(null);
  let dialog!: HTMLDialogElement;
  let stage!: HTMLDivElement;
  let svg!: SVGSVGElement;

  const go = (n: number): void => {
    setFrame(Math.min(facts().last, Math.max(facts().first, Math.round(n))));
  };
  const url = (n: number): string => frameUrl(v.what, v.id, n, undefined, v.version ?? '');

  // A frame is shown when its picture is there, so that stepping never flashes; the neighbours are fetched ahead.
  createEffect(
    on(frame, (n) => {
      const image = new Image();
      image.onload = () => {
        if (frame() === n) setShown(n);
      };
      image.onerror = () => {
        if (frame() === n) setShown(n);
      };
      image.src = url(n);
      for (const k of [n + 1, n - 1, n + 2]) if (k >= facts().first && k <= facts().last) new Image().src = url(k);
    }),
  );

  let timer: ReturnType<typeof setInterval> | undefined;
  createEffect(
    on(speed, (s) => {
      clearInterval(timer);
      if (s === 0) return;
      timer = setInterval(
        () => {
          // Wait for the picture: better slow than skipping.
          if (shown() !== frame()) return;
          const next = frame() + Math.sign(s);
          go(next > facts().last ? facts().first : next < facts().first ? facts().last : next);
        },
        1000 / (facts().fps * Math.abs(s)),
      );
    }),
  );
  onCleanup(() => clearInterval(timer));

  // Marks: those of the pick or take, changed as one edit each.
  const marksFile = (): MarksFile => facts().pick?.marks ?? facts().take?.marks ?? { frame: 0, marks: [] };
  /**
   * A performer's outlines tell of their own frame alone: those of others would lie
   * across the picture as so many more performers.
   */
  const ownFrameOnly = (m: Mark): boolean =>
    v.what === 'take' && ((m.kind === 'body' && m.polygon !== undefined) || m.kind === 'about' || m.kind === 'touch');
  const canMark = () => v.what === 'plate' || v.what === 'take';
  const [tool, setTool] = createSignal<MarkTool | null>(TOOLS.find((t) => t.kind === v.tool) ?? null);
  const [points, setPoints] = createSignal<readonly P[]>([]);
  const [number, setNumber] = createSignal('');
  const [chosen, setChosen] = createSignal<number | null>(null);
  const [drag, setDrag] = createSignal<{ mark: number; handle: number; point: P } | null>(null);
  // What the program would mark here: shown apart until a person takes it.
  const [proposed, setProposed] = createSignal<readonly ProposedMark[]>([]);
  const [asked, setAsked] = createSignal<number | null>(null);
  const [looking, setLooking] = createSignal(false);
  const [pointed, setPointed] = createSignal<ProposedMark | null>(null);
  const propose = async (): Promise<void> => {
    setLooking(true);
    const n = frame();
    const answer = await proposeMarks(v.what, v.id, n);
    setLooking(false);
    if (answer === null) return;
    setProposed(answer.proposals);
    setAsked(n);
  };
  const leave = (p: ProposedMark): void => {
    setPointed(null);
    setProposed(proposed().filter((x) => x !== p));
  };
  const accept = (p: ProposedMark): void => {
    const at = p.mark.frame ?? asked() ?? frame();
    // An outline found anew takes the place of the one on its frame.
    add(
      `mark ${p.mark.kind}, as proposed`,
      { ...p.mark, frame: at },
      (m) =>
        v.what === 'take' &&
        p.mark.kind === 'body' &&
        m.kind === 'body' &&
        m.polygon !== undefined &&
        (m.frame ?? marksFile().frame) === at,
    );
    leave(p);
  };
  /** One mark more; it is the chosen one then, so that its numbers can be given at once. */
  const add = (title: string, mark: Mark, inPlaceOf: (m: Mark) => boolean = () => false): void =>
    save(title, (all) => {
      const marks = all.filter((m) => !inPlaceOf(m));
      setChosen(marks.length);
      return [...marks, mark];
    });
  const chosenMark = (): Mark | undefined => (chosen() === null ? undefined : marksFile().marks[chosen()!]);
  const save = (title: string, change: (marks: readonly Mark[]) => readonly Mark[]): void =>
    void edit(title, () => {
      const f = facts();
      const kind = f.pick !== undefined ? 'pick' : 'take';
      const id = f.pick?.id ?? f.take?.id;
      return id === undefined
        ? null
        : [{ do: 'change', kind, id, fields: { marks: { ...marksFile(), marks: change(marksFile().marks) } } }];
    });
  const finish = (t: MarkTool, list: readonly P[]): void => {
    const n = number().trim() === '' ? undefined : Number(number().replace(',', '.'));
    const made = t.make(list, frame(), Number.isFinite(n) ? n : undefined);
    add(`mark ${t.label}`, made, (m) => takesPlaceOf(made, m, (x) => x.frame ?? marksFile().frame));
    setPoints([]);
  };
  const toPicture = (e: MouseEvent): P => {
    const r = svg.getBoundingClientRect();
    return [((e.clientX - r.left) / r.width) * facts().width, ((e.clientY - r.top) / r.height) * facts().height];
  };
  const round = (p: P): P => [Math.round(p[0] * 10) / 10, Math.round(p[1] * 10) / 10];
  const onClick = (e: MouseEvent): void => {
    const t = tool();
    const p = round(toPicture(e));
    if (t === null) {
      void readPixel(v.what, v.id, frame(), p[0], p[1]).then(
        (x) =>
          setPixel(
            `${Math.floor(p[0])}, ${Math.floor(p[1])}: ` +
              `${x.coded.map((c) => Math.round(c * 255)).join(' ')} of 255 · ` +
              `linear ${x.linear.map((c) => c.toFixed(3)).join(' ')}`,
          ),
        () => setPixel(''),
      );
      return;
    }
    if (dropped) {
      dropped = false;
      return;
    }
    place(t, p);
  };
  const place = (t: MarkTool, p: P): void => {
    if (t.points === 0) {
      finish(t, []);
      return;
    }
    const list = [...points(), p];
    if (t.points !== null && list.length === t.points) finish(t, list);
    else setPoints(list);
  };
  // By keyboard: while a tool is chosen the arrows move a crosshair, the space bar (or Enter) puts a point there.
  const [cross, setCross] = createSignal<P | null>(null);
  const steer = (dx: number, dy: number): void => {
    const f = facts();
    const [x, y] = cross() ?? [f.width / 2, f.height / 2];
    const next: P =
      cross() === null ? [x, y] : [Math.min(f.width, Math.max(0, x + dx)), Math.min(f.height, Math.max(0, y + dy))];
    setCross(next);
    setAt(next);
  };
  const onMove = (e: PointerEvent): void => {
    setAt(toPicture(e));
    const d = drag();
    if (d !== null) setDrag({ ...d, point: round(toPicture(e)) });
  };
  /** A grabbed point was let go where it was: the click that follows is of that. */
  let dropped = false;
  let grabbed: P = [0, 0];
  const onUp = (e: PointerEvent): void => {
    const d = drag();
    if (d === null) return;
    setDrag(null);
    const m = marksFile().marks[d.mark];
    const from = m === undefined ? undefined : handles(m)[d.handle];
    if (m === undefined || from === undefined) return;
    // A click that moved nothing is no drag: with a tool in hand it puts a point right
    // there, as where a shadow begins at a foot.
    if (Math.hypot(e.clientX - grabbed[0], e.clientY - grabbed[1]) < 3) {
      dropped = true;
      setTimeout(() => {
        dropped = false;
      });
      const t = tool();
      if (t !== null) place(t, round(from));
      return;
    }
    save(`move mark ${m.kind}`, (marks) => marks.map((x, i) => (i === d.mark ? withHandle(x, d.handle, d.point) : x)));
  };
  const live = (m: Mark, i: number): Mark => {
    const d = drag();
    return d !== null && d.mark === i ? withHandle(m, d.handle, d.point) : m;
  };

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
    const drawing = tool();
    if (drawing !== null && !(e.ctrlKey || e.metaKey || e.altKey) && drawing.points !== 0) {
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
        cross() !== null &&
        !onOther &&
        (k === ' ' || (k === 'enter' && (drawing.points !== null || points().length < 3)));
      if (way !== undefined || puts) {
        e.preventDefault();
        e.stopPropagation();
        if (way !== undefined) steer(...way);
        else place(drawing, round(cross()!));
        return;
      }
    }
    // A button in focus is pressed by Enter and the space bar, but for the tool in hand whose outline Enter closes.
    const closes = k === 'enter' && drawing !== null && drawing.points === null && points().length >= 3;
    if (
      (k === 'enter' || k === ' ') &&
      e.target instanceof HTMLButtonElement &&
      !(closes && e.target.getAttribute('aria-pressed') === 'true')
    )
      return;
    const act: Record<string, () => void> = {
      arrowright: () => {
        setSpeed(0);
        go(frame() + (e.shiftKey ? 10 : 1));
      },
      arrowleft: () => {
        setSpeed(0);
        go(frame() - (e.shiftKey ? 10 : 1));
      },
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
      w: () => setCompare(compare() === 'wipe' ? 'none' : 'wipe'),
      d: () => setCompare(compare() === 'difference' ? 'none' : 'difference'),
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
    const f = act[k];
    if (f !== undefined && !(e.ctrlKey || e.metaKey || e.altKey)) {
      e.preventDefault();
      e.stopPropagation();
      f();
    }
  };
  // On the window: a button that goes away under the hand (a mark removed) leaves the keyboard with no element in here.
  window.addEventListener('keydown', onKey);
  onCleanup(() => window.removeEventListener('keydown', onKey));
  function removeChosen(): void {
    const i = chosen();
    if (i === null) return;
    save(`remove mark ${marksFile().marks[i]?.kind ?? ''}`, (marks) => marks.filter((_, k) => k !== i));
    setChosen(null);
  }
  const fitScale = (): number =>
    stage === undefined ? 1 : Math.min(stage.clientWidth / facts().width, stage.clientHeight / facts().height);
  const size = () =>
    zoom() === null
      ? {}
      : {
          width: `${facts().width * zoom()!}px`,
          height: `${facts().height * zoom()!}px`,
          'max-width': 'none',
          'max-height': 'none',
        };
  const against = () => v.against;
  // Marks are as large on the screen however large the picture is shown: picture pixels to one of the screen.
  const [glassPx, setGlassPx] = createSignal(900);
  const handleScale = () => facts().width / Math.max(60, glassPx());
  const measureGlass = new ResizeObserver((all) => {
    const w = all[0]?.contentRect.width ?? 0;
    if (w > 0) setGlassPx(w);
  });
  onCleanup(() => measureGlass.disconnect());
  const measures = () => (v.what === 'plate' || v.what === 'join' ? book()?.measures[v.id] : undefined);

  return (
    <dialog
      ref={(el) => {
        dialog = el;
        queueMicrotask(() => {
          if (!dialog.open) dialog.showModal();
        });
      }}
      class="viewer"
      onClose={closeViewer}
      onCancel={(e) => e.preventDefault()}
      aria-label={v.title}
    >
      <div class="viewer-bar">
        <strong>{v.title}</strong>
        <span class="number" data-testid="frame-number">
          frame {frame()} of {facts().first}–{facts().last}
        </span>
        <Show when={against()}>
          {(a) => (
            <>
              <button
                aria-pressed={compare() === 'wipe'}
                onClick={() => setCompare(compare() === 'wipe' ? 'none' : 'wipe')}
              >
                Wipe to {a().title} (W)
              </button>
              <button
                aria-pressed={compare() === 'difference'}
                onClick={() => setCompare(compare() === 'difference' ? 'none' : 'difference')}
              >
                Difference (D)
              </button>
            </>
          )}
        </Show>
        <Show when={measures()}>
          <button aria-pressed={overlays()} onClick={() => setOverlays(!overlays())}>
            What was measured (O)
          </button>
        </Show>
        <Show when={canMark()}>
          <button aria-pressed={showMarks()} onClick={() => setShowMarks(!showMarks())}>
            Marks (M)
          </button>
        </Show>
        <Show when={canMark()}>
          <button
            title={`take back: ${book()?.history.find((h) => !h.undone)?.title ?? 'nothing'}`}
            disabled={book()?.history.every((h) => h.undone) ?? true}
            onClick={() => {
              setChosen(null);
              void undo();
            }}
          >
            Take back
          </button>
        </Show>
        <button onClick={() => setZoom(zoom() === 1 ? null : 1)} aria-pressed={zoom() === 1}>
          1 : 1
        </button>
        <button class="close" onClick={closeViewer}>
          Close
        </button>
      </div>
      <Show when={trouble()}>
        {(t) => (
          <p class="margin-note trouble" role="alert">
            {t()} <button onClick={clearTrouble}>Put away</button>
          </p>
        )}
      </Show>
      <div class="stage" ref={stage}>
        <div
          class="sheet-of-glass"
          ref={(el) => measureGlass.observe(el)}
          style={{
            'aspect-ratio': `${facts().width} / ${facts().height}`,
            ...(zoom() === null ? { width: `min(100cqw, calc(100cqh * ${facts().width / facts().height}))` } : size()),
          }}
        >
          <img src={url(shown())} alt={`${v.title}, frame ${shown()}`} draggable={false} />
          <Show when={compare() !== 'none' && against()}>
            {(a) => (
              <img
                class={compare() === 'difference' ? 'second difference' : 'second'}
                style={{ 'clip-path': compare() === 'wipe' ? `inset(0 0 0 ${wipe() * 100}%)` : 'none' }}
                src={frameUrl(a().what, a().id, shown())}
                alt={`${a().title}, frame ${shown()}`}
                draggable={false}
              />
            )}
          </Show>
          <svg
            ref={svg}
            viewBox={`0 0 ${facts().width} ${facts().height}`}
            onClick={onClick}
            onPointerDown={() => {
              dropped = false;
            }}
            onPointerMove={onMove}
            onPointerUp={onUp}
            onPointerLeave={() => setAt(null)}
            data-tool={tool()?.kind ?? 'none'}
            style={{ '--hair': String(handleScale()) }}
          >
            <Show when={overlays() && measures()}>
              {(m) => (
                <Overlays
                  measures={m()}
                  marks={marksFile()}
                  frame={shown()}
                  width={facts().width}
                  height={facts().height}
                />
              )}
            </Show>
            <Show when={canMark() && showMarks()}>
              <For each={marksFile().marks}>
                {(m, i) => (
                  <Show when={!ownFrameOnly(m) || (m.frame ?? marksFile().frame) === frame()}>
                    <MarkShape
                      mark={live(m, i())}
                      faint={(m.frame ?? marksFile().frame) !== frame()}
                      chosen={chosen() === i()}
                      scale={handleScale()}
                      onChoose={() => setChosen(i())}
                      onGrab={(h, e) => {
                        e.stopPropagation();
                        e.preventDefault();
                        svg.setPointerCapture(e.pointerId);
                        setChosen(i());
                        grabbed = [e.clientX, e.clientY];
                        setDrag({ mark: i(), handle: h, point: handles(m)[h]! });
                      }}
                    />
                  </Show>
                )}
              </For>
              <For each={proposed()}>
                {(p) => (
                  <g class="proposed">
                    <MarkShape
                      mark={p.mark}
                      faint={p.mark.frame !== frame() || (pointed() !== null && pointed() !== p)}
                      chosen={pointed() === p}
                      scale={handleScale()}
                      onChoose={() => accept(p)}
                      onGrab={() => undefined}
                    />
                  </g>
                )}
              </For>
              <polyline
                class="drawing"
                points={[...points(), ...(at() !== null && points().length > 0 ? [at()!] : [])]
                  .map((p) => p.join(','))
                  .join(' ')}
              />
              <Show when={tool() !== null && cross()}>
                {(c) => (
                  <path
                    class="crosshair"
                    d={
                      `M${c()[0] - 14 * handleScale()} ${c()[1]}h${28 * handleScale()}M${c()[0]} ` +
                      `${c()[1] - 14 * handleScale()}v${28 * handleScale()}`
                    }
                  />
                )}
              </Show>
              <For each={points()}>{(p) => <circle class="drawing" cx={p[0]} cy={p[1]} r={4 * handleScale()} />}</For>
            </Show>
            <Show when={compare() === 'wipe'}>
              <line
                class="wipe-line"
                x1={wipe() * facts().width}
                x2={wipe() * facts().width}
                y1="0"
                y2={facts().height}
              />
            </Show>
          </svg>
        </div>
      </div>
      <div class="viewer-foot">
        <button
          onClick={() => {
            setSpeed(0);
            go(frame() - 1);
          }}
          aria-label="one frame back"
        >
          ‹
        </button>
        <button onClick={() => setSpeed(speed() === 0 ? 1 : 0)} aria-label={speed() === 0 ? 'play' : 'stop'}>
          {speed() === 0 ? 'Play' : 'Stop'}
        </button>
        <button
          onClick={() => {
            setSpeed(0);
            go(frame() + 1);
          }}
          aria-label="one frame on"
        >
          ›
        </button>
        <label class="frame-to">
          frame{' '}
          <input
            type="number"
            min={facts().first}
            max={facts().last}
            value={frame()}
            onChange={(e) => {
              setSpeed(0);
              go(Number(e.currentTarget.value) || facts().first);
            }}
          />
        </label>
        <input
          type="range"
          min={facts().first}
          max={facts().last}
          value={frame()}
          onInput={(e) => {
            setSpeed(0);
            go(Number(e.currentTarget.value));
          }}
          aria-label="frame"
        />
        <Show when={compare() === 'wipe'}>
          <label>
            wipe{' '}
            <input
              type="range"
              min="0"
              max="1"
              step="0.005"
              value={wipe()}
              onInput={(e) => setWipe(Number(e.currentTarget.value))}
            />
          </label>
        </Show>
        <span class="readout number">
          {pixel() === ''
            ? at() === null
              ? 'click the picture to read a pixel'
              : `${Math.floor(at()![0])}, ${Math.floor(at()![1])}`
            : pixel()}
        </span>
      </div>
      <Show when={canMark()}>
        <MarkPalette
          on={v.what === 'take' ? 'take' : 'plate'}
          marks={marksFile().marks}
          tool={tool()}
          onTool={(t) => {
            setTool(t);
            setPoints([]);
            setNumber('');
          }}
          points={points().length}
          frame={frame()}
          number={number()}
          onNumber={setNumber}
          onFinish={(t) => finish(t, points())}
          looking={looking()}
          onPropose={() => void propose()}
        />
        <div class="chosen">
          <Show when={marksFile().marks.length > 0} fallback={<span class="hint">no marks yet</span>}>
            <MarkChoice
              marks={marksFile().marks}
              frameOf={(m) => m.frame ?? marksFile().frame}
              chosen={chosen()}
              onChoose={setChosen}
            />
            <Show
              when={chosenMark()}
              fallback={
                <span class="hint">
                  choose a mark here or on the picture: its numbers are changed here, its points too, or dragged
                </span>
              }
            >
              {(m) => (
                <MarkFields
                  mark={m()}
                  onGo={() => go(m().frame ?? marksFile().frame)}
                  onRemove={removeChosen}
                  onChange={(title, change) => {
                    const i = chosen();
                    save(title, (marks) => marks.map((x, k) => (k === i ? change(x) : x)));
                  }}
                />
              )}
            </Show>
          </Show>
        </div>
        <Show when={asked() !== null}>
          <Proposals
            list={proposed()}
            asked={asked()!}
            frame={frame()}
            onTake={accept}
            onLeave={leave}
            onPoint={setPointed}
          />
        </Show>
      </Show>
    </dialog>
  );
}
