// The one module of every page. A behaviour is a file of its own whose first line says what it does and by which
// attribute; it listens on document, so content swapped in later works too. To add one to every page, import it
// here; a behaviour of one page alone is loaded by that page: {% block scripts %}<script type="module" src=...>.
import "./camera/button.js";
import "./dialog.js";
import "./looks.js";
import "./menu.js";
import "./submit-once.js";
import "./tablet/logout.js";
import "./ticks.js";
import "./trouble.js";
import "./update.js";
import "./zoom.js";
