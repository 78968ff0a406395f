import { render } from "preact";
import { App } from "./app";
import { keepSending } from "./logging";
import { followLinks } from "./route";
import "./style.css";

followLinks();
keepSending();
render(<App />, document.getElementById("pages")!);

// Browsers offer it only over https and on the machine itself; without it the pages work as long as they stay open.
if (import.meta.env.PROD && "serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js").catch(() => {});
