/** Where the workbench starts: fonts and styles, the first state of the book, the event stream, the pages. */
import '@fontsource/vollkorn/latin-400.css';
import '@fontsource/vollkorn/latin-700.css';
import '@fontsource/vollkorn/latin-400-italic.css';
import '@fontsource/alegreya-sans/latin-400.css';
import '@fontsource/alegreya-sans/latin-700.css';
// In this order: later rules win.
import './style/page.css';
import './style/room.css';
import './style/wall.css';
import './style/sheet.css';
import './style/steps.css';
import './style/take-start.css';
import './style/pace.css';
import './style/cut.css';
import './style/viewer.css';
import './style/phone.css';
import './style/overlay.css';
import './style/print.css';
import { render } from 'solid-js/web';
import { App } from './app.js';
import { attempt, listen, refresh } from './api.js';

void attempt(refresh);
listen();
render(() => <App />, document.getElementById('book')!);
