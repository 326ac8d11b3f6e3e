// Open, save, save as; the file on disk and the work found from an earlier time.
import { byId, el, setText } from "./dom.js";
import { banner, notice, tell } from "./banners.js";

const nameOf = (path) => path.split("/").at(-1);

export class Files {
  constructor(link) {
    this.link = link;
    this.files = null;
    byId("save").addEventListener("click", () => this.save());
    byId("save-as").addEventListener("click", () => this.#ask());
    byId("open").addEventListener("click", () => byId("open-dialog").showModal());
    byId("save-as-form").addEventListener("submit", (event) => {
      if (event.submitter?.value !== "save") return;
      const name = byId("save-as-name").value.trim();
      if (!name) return void event.preventDefault();
      this.save(name.endsWith(".toml") ? name : `${name}.toml`);
    });
  }

  #do(message, done) {
    this.link.send(message).then((answer) => {
      tell(answer);
      if (answer.ok && done) notice(done);
    });
  }

  save(as = null) {
    this.#do({ do: "save", as }, as ? `Saved as ${as}.` : "Saved.");
  }

  #ask() {
    byId("save-as-name").value = this.files ? nameOf(this.files.held) : "";
    byId("save-as-dialog").showModal();
    byId("save-as-name").select();
  }

  sync(files) {
    if (!files) return;
    this.files = files;
    setText(byId("saved"), files.saved ? "saved" : "not saved");
    byId("saved").classList.toggle("unsaved", !files.saved);
    byId("saved").title = files.held;
    this.#list(files);
    const name = nameOf(files.held);
    if (files.disk === "changed")
      banner("disk", `${name} was changed elsewhere since it was read.`, [
        ["Read it again", "reload", () => this.#do({ do: "reload" })],
        ["Keep mine", "keep", () => this.#do({ do: "keep" })],
      ]);
    else if (files.disk === "gone")
      banner("disk", `${name} is no longer on disk: saving writes it anew.`, [
        ["Keep mine", "keep", () => this.#do({ do: "keep" })],
      ]);
    else banner("disk", null);
    const left = files.left_over;
    banner("left-over", left ? `Unsaved work of ${left.when} was found (${nameOf(left.file)}).` : null, [
      ["Resume it", "resume", () => this.#do({ do: "resume" })],
      ["Discard it", "discard", () => this.#do({ do: "discard" })],
    ]);
  }

  #list(files) {
    const key = JSON.stringify([files.there, files.held]);
    if (key === this.listed) return;
    this.listed = key;
    const open = (file) => {
      byId("open-dialog").close();
      this.#do({ do: "open", file });
    };
    const items = files.there.map((file) =>
      el("li", {}, el("button", { type: "button", "data-test": `open ${file}`, onclick: () => open(file) }, file)),
    );
    byId("open-list").replaceChildren(
      ...(items.length ? items : [el("li", { class: "soft" }, "No hang files below the folder.")]),
    );
  }
}
