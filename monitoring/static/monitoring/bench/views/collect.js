// Collect bags along a round's walk, without a network if there is none.
import { bagsNow, roundsOf, walked } from "../acts.js";
import { h } from "../elements.js";
import { Position } from "../position.js";
import { loadPrefs } from "../prefs.js";
import { dress } from "../surroundings.js";
import { roundView } from "../collect_round.js";
import { many } from "../words.js";

const toDo = (round) => round.bags.filter((bag) => bag.way === "planned").length;
const title = ({ block, farm, collected_on: day }) => `${block}, ${farm}, ${day}`;

function roundList(rounds) {
  return h("ul", { class: "bag-list" }, rounds.map((round) => h("li", {},
    h("a", { class: "bag-row round-row", href: `#/collect/${round.id}` }, h("strong", {}, title(round)),
      h("span", {}, `${toDo(round)} of ${many(round.bags.length, "bag")} to collect`)))));
}

function chooseRound(root, rounds) {
  const open = rounds.filter(toDo), done = rounds.filter((round) => !toDo(round) && round.bags.some((bag) => bag.way === "collected"));
  root.replaceChildren(
    h("h1", {}, "Collect bags"),
    h("p", { class: "lead" }, "For whoever walks the rows: works without a network. Choose the round."),
    open.length ? roundList(open) : h("p", { class: "empty" }, "No bag waits to be collected. Plan a round and make its bags on the site, then open this page once with a network."),
    ...(done.length ? [h("h2", {}, "All collected"), roundList(done)] : []));
}

export async function view({ store, kit, status, go, root, param }) {
  await loadPrefs(store, kit);
  await dress(store, "light");
  const close = () => dress(store);
  const rounds = roundsOf((await bagsNow(store, kit)).values());
  const open = rounds.filter(toDo);
  if (!param && open.length === 1) {
    go(`collect/${open[0].id}`);
    return close;
  }
  const chosen = rounds.find((round) => round.id === param);
  if (!chosen) {
    chooseRound(root, rounds);
    // Rounds planned since this device last heard of the site.
    const again = async () => chooseRound(root, roundsOf((await bagsNow(store, store.kit())).values()));
    store.addEventListener("kit", again);
    return () => {
      store.removeEventListener("kit", again);
      close();
    };
  }
  const position = new Position();
  const leave = await roundView({
    store, status, root, position, title: title(chosen), round: chosen.id, several: rounds.length > 1,
    bags: async () => [...(await bagsNow(store, store.kit())).values()],
    ofRound: (bags) => walked(bags.filter((bag) => bag.round.id === chosen.id)),
  });
  position.startIfAllowed();
  return () => {
    position.stop();
    leave();
    close();
  };
}
