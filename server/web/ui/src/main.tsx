import { render } from "preact";
import { App } from "./app";
import { keepSending } from "./logging";
import { followLinks } from "./route";
import "./style.css";

followLinks();
keepSending();
render(<App />, document.getElementById("pages")!);
