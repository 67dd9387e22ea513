// Writes what is known of every shot and take beside the media: truth, marks, and the list that ties the production
// together.

import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { EDIT } from './film.js';
import { PICKS } from './guests.js';
import { handMarks } from './head-marks.js';
import { pickMarks, takeMarks } from './marks.js';
import { productionList } from './production-list.js';
import { TAKES } from './takes.js';
import { filmTruth, handTruth, shotTruth, takeTruth } from './truth-documents.js';

/** Numbers to five places; arrays of short things on one line. */
function text(value: unknown): string {
  const s = JSON.stringify(value, (_k, x: unknown) => (typeof x === 'number' ? Math.round(x * 1e5) / 1e5 : x), 1);
  return `${s
    .replace(/\[\s+(-?[\d.e-]+),\s+(-?[\d.e-]+)\s+\]/g, '[$1,$2]')
    .replace(/\[\s+(-?[\d.e-]+),\s+(-?[\d.e-]+),\s+(-?[\d.e-]+)\s+\]/g, '[$1,$2,$3]')
    .replace(/\n\s{4,}/g, ' ')}\n`;
}

function save(path: string, value: unknown): void {
  writeFileSync(path, text(value));
}

/** Writes demo/truth, demo/marks and demo/production.json. */
export function writeTruth(demo: string): void {
  const truth = join(demo, 'truth');
  const marks = join(demo, 'marks');
  mkdirSync(join(truth, 'takes'), { recursive: true });
  mkdirSync(join(marks, 'takes'), { recursive: true });
  save(join(truth, 'film.json'), filmTruth());
  for (const j of EDIT) {
    const pick = PICKS.find((p) => p.shot === j.shot);
    save(join(truth, `${j.shot.id}.json`), shotTruth(j, pick));
    if (pick) save(join(marks, `${pick.id}.json`), pickMarks(pick));
  }
  for (const t of TAKES) {
    save(join(truth, 'takes', `${t.id}.json`), takeTruth(t));
    save(join(marks, 'takes', `${t.id}.json`), takeMarks(t));
  }
  save(join(truth, 'takes', 'hand-1.json'), handTruth());
  save(join(marks, 'takes', 'hand-1.json'), handMarks());
  save(join(demo, 'production.json'), productionList());
}
