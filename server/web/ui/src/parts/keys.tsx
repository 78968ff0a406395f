// The keys of a studio: who may do what. A secret is shown once.
import { useState } from "preact/hooks";
import { answer, api } from "../api/client";
import type { Key } from "../api/types";
import { keys } from "../lists";
import { idOf } from "../names";
import { useSaving } from "../saving";
import { confirmed } from "./ask";
import { Choice, TextField } from "./fields";
import { Form, useForm } from "./form";
import { Failed, Panel, When } from "./states";

type Role = NonNullable<Key["role"]>;

const roles: { value: Role; text: string }[] = [
  { value: "ROLE_VIEW", text: "Read, score and plan" },
  { value: "ROLE_RECORD", text: "Also log tiles and keep sheets" },
  { value: "ROLE_MANAGE", text: "Also change everything else" },
];

const blankKey: { displayName: string; role: Role; until: string } = { displayName: "", role: "ROLE_RECORD", until: "" };

export function Keys({ studio }: { studio: string }) {
  const resource = keys(studio);
  const form = useForm<{ displayName: string; role: Role; until: string; etag?: string }>(`catchline.form.${studio}.key`, blankKey);
  const [made, setMade] = useState<{ name: string; secret: string }>();
  const saving = useSaving();
  const revoke = (key: Key) =>
    saving.run(async () => {
      if (!(await confirmed(`Revoke the key ${key.displayName}?`, <p>Whoever uses it is locked out at once. This cannot be undone.</p>, "Revoke the key"))) return;
      await answer(api.DELETE("/v1/studios/{studio}/keys/{key}", { params: { path: { studio, key: idOf(key.name) } } }));
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
        <Form
          form={form}
          main={false}
          submit="Make the key"
          onStore={async ({ displayName, role, until }) => {
            const key: Key = { displayName: displayName.trim(), role };
            if (until) key.expireTime = new Date(until + "T23:59:59").toISOString();
            const got = await answer(api.POST("/v1/studios/{studio}/keys", { params: { path: { studio } }, body: key }));
            setMade({ name: got.key?.displayName ?? "", secret: got.secret ?? "" });
            await resource.reload();
          }}
        >
          <TextField label="Name of the key" hint="Whose it is, or what it is for." value={form.draft.displayName} maxLength={120} required onValue={(displayName) => form.set({ displayName })} />
          <Choice label="May" value={form.draft.role} options={roles} onValue={(v) => form.set({ role: v as Role })} />
          <TextField label="Last day" type="date" value={form.draft.until} hint="Empty: until it is revoked." onValue={(until) => form.set({ until })} />
        </Form>
      </details>
      {saving.problem && <Failed problem={saving.problem} />}
    </Panel>
  );
}
