/** Two files of one name, or two reels of one film, stay apart for whoever reads their titles. */
import { expect, it } from 'vitest';
import { freeTitle, nameAmong } from './titles.js';

const films = [
  { id: 'plate', title: 'plate' },
  { id: 'tram', title: 'Last Tram' },
  { id: 'tram-2', title: 'Last Tram' },
];

it('numbers a title that is taken', () => {
  expect(freeTitle('poster', films)).toBe('poster');
  expect(freeTitle('plate', films)).toBe('plate (2)');
  expect(freeTitle('plate', [...films, { id: 'plate-2', title: 'plate (2)' }])).toBe('plate (3)');
});

it('adds the short name where two were given one title by hand', () => {
  expect(films.map((f) => nameAmong(films, f))).toEqual(['plate', 'Last Tram (tram)', 'Last Tram (tram-2)']);
});
