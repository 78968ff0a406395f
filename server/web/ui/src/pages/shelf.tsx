// Shelf: a kiln load, what to put under it and what to keep low; printed, it hangs by the kiln.
import { useEffect, useState } from "preact/hooks";
import { answer, api } from "../api/client";
import type { PlanShelfResponse, ShelfPiece } from "../api/types";
import { useAnswer } from "../asking";
import { download } from "../download";
import { isUnread, unreadIn, whole, type Draft, type Entry } from "../entries";
import { firings, glazes, ready } from "../lists";
import { idOf, nameOf } from "../names";
import { unit } from "../preferences";
import { address, go, route } from "../route";
import { isComplete, layerChoicesOf, layeringOf, newLayer, placementOf, questionFromQuery, questionToQuery, usualWall, wallChoiceOf, type LayerChoice, type WallChoice } from "../scoring";
import { inReadersUnit, length, percent } from "../units";
import { lastUsed } from "../used";
import { Choice, FileButton, NumberField, TextField } from "../parts/fields";
import { Flags } from "../parts/flags";
import { LayersEditor } from "../parts/layers";
import { WallEditor } from "../parts/placement";
import { RiskMark } from "../parts/risk";
import { Cautions, Empty, Failed, Panel, Scrolled, Waiting } from "../parts/states";

interface Piece {
  label: string;
  count: number;
  shelf: number;
  body: string;
  layers: LayerChoice[];
  wall: WallChoice;
}

interface Load {
  firing: string;
  pieces: Piece[];
}

const MOST = 500;

// The load lives in this browser and, as a whole, in the part of the address after #, which is never sent to a server
// and so may be long.
function keptLoad(studio: string): Load {
  for (const text of [decodeHash(route.value.hash), localStorage.getItem("catchline.load." + studio)]) {
    try {
      const load = text ? (JSON.parse(text) as Load) : null;
      if (load && Array.isArray(load.pieces)) return { firing: load.firing ?? "", pieces: load.pieces };
    } catch {
      // An address that was cut: go on with what is kept.
    }
  }
  return { firing: lastUsed(studio).firing, pieces: [] };
}

// A load as a file: the request of the interface without its parent, which the command line takes as well.
interface LoadFile {
  firing: string;
  pieces: ShelfPiece[];
}

function loadOfRequest(file: LoadFile): Load {
  return {
    firing: idOf(file.firing),
    pieces: file.pieces.slice(0, MOST).map((p) => ({
      label: p.label ?? "",
      count: p.count || 1,
      shelf: p.shelf ?? 0,
      body: idOf(p.layering?.body),
      layers: layerChoicesOf(p.layering),
      wall: wallChoiceOf(p.placement),
    })),
  };
}

function decodeHash(hash: string): string | null {
  return hash.startsWith("load=") ? decodeURIComponent(hash.slice(5)) : null;
}

export function ShelfPage({ studio }: { studio: string }) {
  const [load, setLoad] = useState<Draft<Load>>(() => keptLoad(studio) as Draft<Load>);
  const [open, setOpen] = useState(-1);
  const [copied, setCopied] = useState(false);
  const [fault, setFault] = useState("");
  const knownFirings = ready(firings(studio));
  const names = ready(glazes(studio));
  const u = unit.value;

  const pieceTitle = (layers: { glaze: string }[]) =>
    [...layers].reverse().map((l) => names.find((g) => idOf(g.name) === l.glaze)?.displayName ?? l.glaze).join(" over ");

  useEffect(() => {
    localStorage.setItem("catchline.load." + studio, JSON.stringify(load));
    if (load.pieces.length > 0) {
      history.replaceState(null, "", `${address(studio, "shelf")}#load=${encodeURIComponent(JSON.stringify(load))}`);
    }
  }, [load]);

  // From a score: the layering comes along in the address.
  const { query } = route.value;
  useEffect(() => {
    if (!query.has("add")) return;
    const q = questionFromQuery(query);
    setLoad((before) => ({
      firing: before.firing || q.firing,
      pieces: [...before.pieces, { label: `Piece ${before.pieces.length + 1}`, count: 1, shelf: 0, body: q.body, layers: q.layers, wall: q.wall } as Draft<Piece>],
    }));
    go(address(studio, "shelf"), "replace");
  }, []);

  const setPiece = (i: number, next: Partial<Draft<Piece>>) => setLoad({ ...load, pieces: load.pieces.map((p, k) => (k === i ? { ...p, ...next } : p)) });
  // While a field of a piece cannot be read there is no plan: one without that piece would be hung by the kiln.
  const readable = whole<Load>(load);
  const planned = (readable?.pieces ?? []).filter((p) => isComplete({ ...p, firing: load.firing, kiln: "" }) && p.label.trim());
  const request = load.firing && planned.length > 0 ? { firing: nameOf(studio, "firings", load.firing), pieces: planned.map((p) => pieceOf(studio, p)) } : null;
  const plan = useAnswer<NonNullable<typeof request>, PlanShelfResponse>(
    request,
    (body, signal) => answer(api.POST("/v1/studios/{studio}:planShelf", { params: { path: { studio } }, body, signal })),
    250,
  );

  return (
    <>
      <div class="title">
        <h1>Shelf</h1>
        <p>A kiln load: cookies to make and what to keep low</p>
      </div>
      <div class="split">
        <div class="stack no-print">
          <Panel
            title="The load"
            aside={
              <button
                type="button"
                class="plain"
                onClick={() => navigator.clipboard?.writeText(location.href).then(() => setCopied(true))}
                disabled={!navigator.clipboard}
              >
                {copied ? "Link copied" : "Copy its link"}
              </button>
            }
          >
            <Choice
              label="Firing"
              value={load.firing}
              options={knownFirings.map((f) => ({ value: idOf(f.name), text: f.displayName ?? idOf(f.name) }))}
              onValue={(firing) => setLoad({ ...load, firing })}
            />
            {load.pieces.length === 0 && (
              <Empty title="Nothing in the kiln yet">
                <p>Add pieces here, or from a score by “Put it on the shelf plan”.</p>
              </Empty>
            )}
            <ol class="tile-list">
              {load.pieces.map((p, i) => (
                <li class="tile" key={i}>
                  <span class="row">
                    <strong>
                      {isUnread(p.count) ? p.count.unread : p.count} × {p.label || "no name"}
                    </strong>
                    <span class="hint">{pieceTitle(p.layers)}</span>
                  </span>
                  {open === i && (
                    <div class="stack">
                      <TextField label="What it is called" value={p.label} maxLength={120} required onValue={(label) => setPiece(i, { label })} />
                      <div class="pair">
                        <NumberField label="How many" value={p.count} min={1} max={1000} step={1} required onValue={(v) => setPiece(i, { count: rounded(v)! })} />
                        <NumberField label="Shelf from the bottom" hint="0: not decided." value={p.shelf} min={0} max={20} step={1} onValue={(v) => setPiece(i, { shelf: rounded(v) ?? 0 })} />
                      </div>
                      <LayersEditor studio={studio} layers={p.layers} onLayers={(layers) => setPiece(i, { layers })} />
                      <WallEditor studio={studio} wall={p.wall} onWall={(wall) => setPiece(i, { wall })} />
                    </div>
                  )}
                  <span class="row">
                    <button type="button" aria-expanded={open === i} onClick={() => setOpen(open === i ? -1 : i)}>
                      {open === i ? "Close" : "Change"}
                      <span class="unseen"> {p.label}</span>
                    </button>
                    <button
                      type="button"
                      class="plain"
                      disabled={load.pieces.length >= MOST}
                      onClick={() => {
                        setLoad({ ...load, pieces: [...load.pieces.slice(0, i + 1), { ...p, label: p.label + " too" }, ...load.pieces.slice(i + 1)] });
                        setOpen(i + 1);
                      }}
                    >
                      Copy<span class="unseen"> {p.label}</span>
                    </button>
                    <button type="button" class="plain" onClick={() => setLoad({ ...load, pieces: load.pieces.filter((_, k) => k !== i) })}>
                      Take out<span class="unseen">: {p.label}</span>
                    </button>
                  </span>
                </li>
              ))}
            </ol>
            <p class="row">
              <FileButton
                label="Open a load"
                accept=".json,application/json"
                onFile={async (file) => {
                  try {
                    setLoad(loadOfRequest(JSON.parse(await file.text()) as LoadFile) as Draft<Load>);
                    setFault("");
                  } catch {
                    setFault(`${file.name} is not a load: a JSON file with a firing and pieces, as the command line takes it.`);
                  }
                  setOpen(-1);
                }}
              />
              <button type="button" disabled={!request} onClick={() => download("load.json", "application/json", [JSON.stringify(request, null, 2) + "\n"])}>
                Save it
              </button>
            </p>
            {fault && <p class="fault">{fault}</p>}
            <button
              type="button"
              class="add"
              disabled={load.pieces.length >= MOST}
              onClick={() => {
                setLoad({
                  ...load,
                  pieces: [...load.pieces, { label: `Piece ${load.pieces.length + 1}`, count: 1, shelf: 0, body: "", layers: [newLayer("")], wall: usualWall as Draft<WallChoice> }],
                });
                setOpen(load.pieces.length);
              }}
            >
              + Piece
            </button>
          </Panel>
        </div>
        <div class="stack" aria-busy={plan.busy}>
          {!readable && (
            <p class="notice" role="status">
              <strong>No plan.</strong> In the load: {unreadIn(load).map((f) => (f.unread.trim() ? `“${f.unread}”: ${f.fault}` : f.fault)).join(" ")}
            </p>
          )}
          {plan.problem && <Failed problem={plan.problem} />}
          {request && !plan.value && plan.busy && <Waiting what="Planning the shelf" />}
          {plan.value && (
            <Panel
              title="Plan for the kiln"
              aside={
                <button type="button" class="no-print" onClick={() => print()}>
                  Print it to hang by the kiln
                </button>
              }
            >
              <p class="only-print">
                {knownFirings.find((f) => idOf(f.name) === load.firing)?.displayName} · {new Date().toLocaleDateString()}
              </p>
              <div class="figures4">
                <div>
                  <strong>{plan.value.totalCookies ?? 0}</strong>
                  <span>cookies in all</span>
                </div>
                <div>
                  <strong>{(plan.value.expectedOverFoot ?? 0).toFixed(1)}</strong>
                  <span>pieces expected to pass the foot</span>
                </div>
                <div>
                  <strong>{plan.value.lines?.filter((l) => l.keepLow).length ?? 0}</strong>
                  <span>kinds to keep low</span>
                </div>
              </div>
              {plan.value.warnings && plan.value.warnings.length > 0 && (
                <ul class="flags notice">
                  {plan.value.warnings.map((w) => (
                    <li key={w}>{inReadersUnit(w, u)}</li>
                  ))}
                </ul>
              )}
              {plan.value.cookies && plan.value.cookies.length > 0 && (
                <>
                  <h3>Cookies to make</h3>
                  <ul class="row">
                    {plan.value.cookies.map((c, i) => (
                      <li class="tag" key={i}>
                        {c.count} × {c.kind === "COOKIE_KIND_DISHED" ? "dished" : "plain"}, {length(c.diameterMm ?? 0, u)} across, {length(c.thicknessMm ?? 0, u)} thick
                      </li>
                    ))}
                  </ul>
                </>
              )}
              <Scrolled label="Pieces, the riskiest first">
                <table class="cards">
                  <thead>
                    <tr>
                      <th scope="col">Piece</th>
                      <th scope="col">Risk</th>
                      <th scope="col" class="n">
                        Drip
                      </th>
                      <th scope="col">Under it</th>
                      <th scope="col">What to do</th>
                    </tr>
                  </thead>
                  <tbody>
                    {plan.value.lines?.map((l) => {
                      const piece = planned[l.pieceIndex ?? 0];
                      const foot = l.score?.foot;
                      return (
                        <tr key={l.pieceIndex}>
                          <td>
                            <strong>
                              {l.count ?? 1} × {l.label}
                            </strong>
                            <br />
                            {piece && (
                              <a href={address(studio, "score", "", questionToQuery({ ...piece, firing: load.firing, kiln: "" }))}>{pieceTitle(piece.layers)}</a>
                            )}
                            {(l.shelf ?? 0) > 0 && <span class="hint"> shelf {l.shelf}</span>}
                          </td>
                          <td>
                            <RiskMark risk={l.score?.risk} chance={l.score?.exceedProbability} />
                            {l.keepLow && (
                              <>
                                <br />
                                <span class="tag">↓ keep low</span>
                              </>
                            )}
                          </td>
                          <td class="n">
                            {length(l.score?.medianRunMm ?? 0, u)}
                            <br />
                            <small>of {length(l.score?.clearanceMm ?? 0, u)}</small>
                          </td>
                          <td>
                            {foot?.cookie === "COOKIE_KIND_PLAIN" || foot?.cookie === "COOKIE_KIND_DISHED"
                              ? `${foot.cookie === "COOKIE_KIND_DISHED" ? "dished" : "plain"} ${length(foot.cookieDiameterMm ?? 0, u)}`
                              : "nothing"}
                          </td>
                          <td>
                            {inReadersUnit(l.advice || (foot?.reason ?? ""), u)}
                            <Flags flags={l.score?.flags} />
                          </td>
                        </tr>
                      );
                    })}
                  </tbody>
                </table>
              </Scrolled>
              <p class="hint">
                Chance of passing the foot, {percent(plan.value.lines?.[0]?.score?.toleratedRisk ?? 0.05)} tolerated.{" "}
                {plan.value.calibration ? `Calibration ${idOf(plan.value.calibration)}.` : "Physics alone: no tile has been learnt from."}
              </p>
              <Cautions cautions={plan.value.cautions} />
            </Panel>
          )}
        </div>
      </div>
    </>
  );
}

// Pieces and shelves are counted.
function rounded(entry: Entry): Entry {
  return typeof entry === "number" ? Math.round(entry) : entry;
}

function pieceOf(studio: string, p: Piece): ShelfPiece {
  return { label: p.label.trim(), count: p.count, layering: layeringOf(studio, p.layers, p.body), placement: placementOf(studio, p.wall), shelf: p.shelf };
}
