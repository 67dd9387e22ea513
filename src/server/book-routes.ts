/**
 * The book over HTTP: read whole or by kind, changed by edits, settings and the studio's lines, undone and done again.
 */
import type { Hono } from 'hono';
import type { Book } from '../book/book.js';
import type { DocumentKind, DocumentOf } from '../book/documents.js';
import { changeSetting } from '../book/settings.js';
import { changeStudio } from '../book/studio.js';
import { PlatewrightError } from '../core/errors.js';
import { bookState } from './book-state.js';
import { editSchema, documentKind, settingSchema, studioSchema } from './request-shapes.js';
import { jsonBody, parseAs } from './requests.js';

/** Adds them to the app. */
export function bookRoutes(app: Hono, book: Book): void {
  app.get('/api/book', (c) => c.json(bookState(book)));
  app.get('/api/documents/:kind', (c) => c.json(book.list(documentKind(c.req.param('kind')))));
  app.get('/api/documents/:kind/:id', (c) => c.json(book.need(documentKind(c.req.param('kind')), c.req.param('id'))));

  app.post('/api/settings', async (c) => {
    const request = parseAs(settingSchema, await jsonBody(c), 'this setting');
    changeSetting(book, request.name, request.numbers);
    return c.json({ pulse: book.pulse() });
  });

  app.post('/api/studio', async (c) => {
    const request = parseAs(studioSchema, await jsonBody(c), 'this line of the studio');
    changeStudio(book, request.name, request.text);
    return c.json({ pulse: book.pulse() });
  });

  app.post('/api/edit', async (c) => {
    const request = parseAs(editSchema, await jsonBody(c), 'this edit');
    book.edit(request.title, (scope) => {
      for (const change of request.changes) {
        if (change.do === 'remove') scope.remove(change.kind, change.id);
        else if (change.do === 'change') {
          const now = scope.get(change.kind, change.id);
          if (now === null)
            throw new PlatewrightError(
              'PW-BOOK-NO-SUCH',
              `the book has no ${change.kind} "${change.id}" (any more); nothing was changed`,
              { kind: 'usage' },
            );
          scope.put(change.kind, { ...now, ...change.fields, id: change.id } as DocumentOf<DocumentKind>);
        } else scope.put(change.kind, change.document as DocumentOf<DocumentKind>);
      }
    });
    return c.json({ pulse: book.pulse() });
  });
  app.post('/api/undo', (c) => c.json({ edit: book.undo(), pulse: book.pulse() }));
  app.post('/api/redo', (c) => c.json({ edit: book.redo(), pulse: book.pulse() }));
}
