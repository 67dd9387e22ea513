// The list that ties the demo's production together: picks, takes with the verdict that each should get, joins, cut.

import { DISSOLVE, EDIT, FILM_RATE } from './film.js';
import { PICKS } from './guests.js';
import { handShot } from './home.js';
import { RABBIT_HEIGHT } from './rabbit.js';
import { HANDLE_FRAMES, TAKES } from './takes.js';

/** demo/production.json */
export function productionList(): unknown {
  return {
    title: 'Clementine Takes the Last Tram',
    performer: { name: 'Clementine', kind: 'lop-eared rabbit', heightM: RABBIT_HEIGHT },
    rate: FILM_RATE,
    film: {
      id: 'film',
      file: 'media/last-tram-to-harrow-hill.mp4',
      title: 'Last Tram to Harrow Hill',
      truth: 'truth/film.json',
    },
    music: { file: 'media/harrow-hill-tune.wav', title: 'The Harrow Hill Waltz' },
    handleFrames: HANDLE_FRAMES,
    picks: picksOfProduction(),
    takes: takesOfProduction(),
    joins: [
      { pick: 'poster', take: 'poster' },
      { pick: 'platform', take: 'platform-1' },
      { pick: 'pan', take: 'pan-1' },
      { pick: 'punch', take: 'punch-1' },
      { pick: 'conductor', take: 'conductor-1' },
      { pick: 'window', take: 'window-1', patch: 'window-2' },
      { pick: 'railing', take: 'railing-1' },
    ],
    cut: [
      { kind: 'film', shot: 'title', ...span('title') },
      ...[...PICKS].sort((a, b) => a.order - b.order).map((p) => ({ kind: 'join', pick: p.id })),
      { kind: 'film', shot: 'hill', ...span('hill', DISSOLVE) },
    ],
    titles: [
      { text: 'Clementine Takes the Last Tram', at: 'open' },
      { text: 'Harrow Hill. All change.', at: 'close' },
    ],
    credits: [
      'Clementine: herself',
      'The conductor, the passengers, the tram: carved and dressed for the demo',
      "The Harrow Hill Waltz: made by the demo's own code",
      'Media by the Platewright project, CC0',
    ],
    supporters: ['The Carrot Fund', 'Friends of the Number 7', 'Three anonymous hedgehogs'],
  };
}

/** Frames count from the first of the film. */
function picksOfProduction(): unknown[] {
  return PICKS.map((p) => {
    const j = EDIT.find((x) => x.shot === p.shot);
    const at = j?.at ?? 0;
    return {
      id: p.id,
      shot: p.shot.id,
      in: at + p.in,
      out: at + p.out,
      order: p.order,
      title: p.title,
      needs: p.needs,
      marks: `marks/${p.id}.json`,
      truth: `truth/${p.shot.id}.json`,
    };
  });
}

function takesOfProduction(): unknown[] {
  return [
    ...TAKES.map((t) => ({
      id: t.id,
      file: `media/takes/${t.id}.mp4`,
      pick: t.pick,
      use: t.use,
      ...(t.use === 'patch' ? { patchOnto: 'window-1', patch: 'mouth' } : {}),
      marks: `marks/takes/${t.id}.json`,
      truth: `truth/takes/${t.id}.json`,
      fault: t.fault,
      expected: { verdict: t.verdict, matter: t.matter },
      what: t.what,
    })),
    {
      id: 'hand-1',
      file: 'media/takes/hand-1.mp4',
      pick: 'punch',
      use: 'double',
      marks: 'marks/takes/hand-1.json',
      truth: 'truth/takes/hand-1.json',
      fault: 'none',
      expected: { verdict: 'fits', matter: null },
      what: handShot.what,
    },
    {
      id: 'poster',
      file: 'media/takes/poster.png',
      pick: 'poster',
      use: 'still',
      marks: null,
      truth: null,
      fault: 'none',
      expected: { verdict: 'fits', matter: null },
      what: 'a drawn poster, to be carried by the board on the tram',
    },
    {
      id: 'paper',
      file: 'media/takes/paper',
      pick: 'railing',
      use: 'still',
      marks: 'marks/takes/paper.json',
      truth: null,
      fault: 'none',
      expected: { verdict: 'fits', matter: null },
      what: 'a paper stage in three layers, moved by the camera that passes it',
    },
  ];
}

/** Film frames of a shot that is used as it is, from `skip` frames after its start (past a gradual entry). */
function span(id: string, skip = 0): { in: number; out: number } {
  const i = EDIT.findIndex((x) => x.shot.id === id);
  const j = EDIT[i];
  const next = EDIT[i + 1];
  return { in: (j?.in ?? 0) + skip, out: next?.over ? next.over[0] : (next?.in ?? j?.out ?? 0) };
}
