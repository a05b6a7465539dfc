// What a press sounds and feels like. One AudioContext, unlocked by the key that starts.

// A pentatonic scale over an octave and a half: neighbours are told apart by pitch and timbre.
const PITCHES_HZ = [392, 523.3, 659.3, 784, 293.7, 880, 349.2, 1046.5];
const TIMBRES = ["sine", "triangle", "square", "sawtooth", "triangle", "sine", "square", "triangle"];
// Square and sawtooth waves sound louder than sines of the same height.
const LOUDNESS = { sine: 1, triangle: 0.9, square: 0.35, sawtooth: 0.4 };
const HIT_S = 0.09, RISE_S = 0.004;
const FELT_MS = { hit: 15, undo: [10, 40, 10], change: [25, 30, 25], refused: [60, 30, 60], reached: 250 };

// settings: {volume: 0 to 1, vibrate, speech}, read at each tone.
export function makeTones(settings) {
  let audio = null;

  // Browsers let a page sound only after a key or touch.
  function unlock() {
    const Context = window.AudioContext ?? window.webkitAudioContext;
    if (!audio && Context) audio = new Context({ latencyHint: "interactive" });
    if (audio?.state === "suspended") audio.resume();
  }

  function tone(hertz, timbre, { after = 0, seconds = HIT_S, to = hertz } = {}) {
    if (!audio || !settings.volume) return;
    const begin = audio.currentTime + after, end = begin + seconds;
    const wave = audio.createOscillator(), gain = audio.createGain();
    wave.type = timbre;
    wave.frequency.value = hertz;
    wave.frequency.setValueAtTime(hertz, begin);
    if (to !== hertz) wave.frequency.exponentialRampToValueAtTime(to, end);
    gain.gain.setValueAtTime(0, begin);
    gain.gain.linearRampToValueAtTime(settings.volume * 0.5 * LOUDNESS[timbre], begin + RISE_S);
    gain.gain.exponentialRampToValueAtTime(0.0001, end);
    wave.connect(gain).connect(audio.destination);
    wave.start(begin);
    wave.stop(end);
  }

  function feel(kind) {
    if (settings.vibrate !== false) navigator.vibrate?.(FELT_MS[kind]);
  }

  return {
    unlock,
    hit(slot) {
      tone(PITCHES_HZ[slot % 8], TIMBRES[slot % 8]);
      feel("hit");
    },
    undo() {
      tone(620, "sawtooth", { to: 310, seconds: 0.16 });
      feel("undo");
    },
    redo() {
      tone(310, "sawtooth", { to: 620, seconds: 0.16 });
      feel("undo");
    },
    change() {
      tone(988, "sine", { seconds: 0.07 });
      tone(988, "sine", { after: 0.11, seconds: 0.07 });
      feel("change");
    },
    refused() {
      tone(95, "square", { seconds: 0.22 });
      feel("refused");
    },
    reached() {
      tone(523.3, "sine", { seconds: 0.9 });
      tone(784, "sine", { seconds: 0.9 });
      feel("reached");
    },
    // Newer words cut off older ones: late words would be about another cell.
    speak(words, { asked = false } = {}) {
      if (!window.speechSynthesis || (!settings.speech && !asked)) return;
      window.speechSynthesis.cancel();
      const said = new SpeechSynthesisUtterance(words);
      said.lang = "en";
      said.volume = settings.volume ?? 1;
      window.speechSynthesis.speak(said);
    },
    close() {
      window.speechSynthesis?.cancel();
      audio?.close();
      audio = null;
    },
  };
}
