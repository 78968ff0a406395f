// The keys of a studio: who may do what. A secret is shown once.
import { useState } from "preact/hooks";
import { answer, api } from "../api/client";
import type { Key } from "../api/types";
import { keys } from "../lists";
import { idOf } from "../names";
import { useSaving } from "../saving";
import { Choice, TextField } from "./fields";
import { Failed, Panel, When } from "./states";

type Role = NonNullable<Key["role"]>;

const roles: { value: Role; text: string }[] = [
  { value: "ROLE_VIEW", text: "Read, score and plan" },
  { value: "ROLE_RECORD", text: "Also log tiles and keep sheets" },
  { value: "ROLE_MANAGE", text: "Also change everything else" },
];

export function Keys({ studio }: { studio: string }) {
  const resource = keys(studio);
  const [name, setName] = useState("");
  const [role, setRole] = useState<Role>("ROLE_RECORD");
  const [until, setUntil] = useState("");
  const [made, setMade] = useState<{ name: string; secret: string }>();
  const saving = useSaving();
  const create = () =>
    saving.run(async () => {
      const key: Key = { displayName: name.trim(), role };
      if (until) key.expireTime = new Date(until + "T23:59:59").toISOString();
      const got = await answer(api.POST("/v1/studios/{parent}/keys", { params: { path: { parent: studio } }, body: key }));
      setMade({ name: got.key?.displayName ?? "", secret: got.secret ?? "" });
      await resource.reload();
      setName("");
      setUntil("");
    });
  const revoke = (key: Key) =>
    saving.run(async () => {
      if (!confirm(`Revoke the key ${key.displayName}? Whoever uses it is locked out at once.`)) return;
      await answer(api.DELETE("/v1/studios/{name}/keys/{name_1}", { params: { path: { name: studio, name_1: idOf(key.name) } } }));
      await resource.reload();
    }, "Done.");
  return (
    <Panel title="Keys">
      <p class="hint">They matter where the server asks for keys.</p>
      <When loaded={resource.value} what="Fetching the keys" onRetry={() => resource.reload()}>
        {(all) => (
          <ul class="tile-list">
            {all.map((k) => (
              <li class="tile" key={k.name}>
                <strong>{k.displayName}</strong>
                <span class="hint">
                  {roles.find((r) => r.value === k.role)?.text}
                  {k.expireTime && `, until ${new Date(k.expireTime).toLocaleDateString()}`}
                </span>
                <span class="row">
                  <button type="button" aria-label={`Revoke ${k.displayName}`} disabled={saving.busy} onClick={() => revoke(k)}>
                    Revoke
                  </button>
                </span>
              </li>
            ))}
          </ul>
        )}
      </When>
      {made && (
        <div class="notice stack" role="status">
          <p>The key of {made.name}. Write it down now: it is kept nowhere and cannot be shown again.</p>
          <p>
            <code class="secret">{made.secret}</code>
          </p>
          <p class="row">
            <button type="button" onClick={() => setMade(undefined)}>
              I have it
            </button>
          </p>
        </div>
      )}
      <details>
        <summary>New key</summary>
        <form
          class="stack"
          onSubmit={(e) => {
            e.preventDefault();
            void create();
          }}
        >
          <TextField label="Whose or for what" value={name} maxLength={120} onValue={setName} />
          <Choice label="May" value={role} options={roles} onValue={(v) => setRole(v as Role)} />
          <TextField label="Last day" type="date" value={until} hint="Empty: until it is revoked." onValue={setUntil} />
          <p class="row">
            <button type="submit" disabled={!name.trim() || saving.busy}>
              Make the key
            </button>
          </p>
        </form>
      </details>
      {saving.problem && <Failed problem={saving.problem} />}
    </Panel>
  );
}
