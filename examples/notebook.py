# %% [markdown]
# # The attic speaker, from opening the folder to a decision
#
# A two-way loudspeaker from an attic: its drivers were measured, and its crossover part by part. All data of this
# example are invented; there is no such loudspeaker.
#
# This script is a notebook: editors that know `# %%` run it cell by cell, and show the value of each cell's last line.

# %%
from pathlib import Path

import xover

# Run beside the examples, or from the folder above them.
examples = Path() if Path("attic-two-way").is_dir() else Path("examples")
figures = Path("figures")
figures.mkdir(exist_ok=True)

speaker = xover.open(examples / "attic-two-way" / "left")
print(speaker)

# %% [markdown]
# ## Is what was typed and measured sound?

# %%
checked = speaker.check()
for finding in checked.findings:
    print(finding.severity, finding.where, finding.text, sep=": ")
print(checked)

# %% [markdown]
# ## What does the network do today?
#
# `found` holds the values measured on the old board, `original` those that are marked on the parts. Every figure is an
# attribute, in SI units, with the unit in its name; what was not measured is NaN.

# %%
sound = speaker.predict("found")
crossover = sound.crossovers[0]
print(f"crosses over at {crossover.frequency_hz:.0f} Hz, reversed null {crossover.null_depth_db:.1f} dB deep")
speaker.draw(sound).save(figures / "sum.svg", force=True)

# %% [markdown]
# ## What does the amplifier see?

# %%
load = speaker.load("found")
reading = load.channels["in"].reading
print(f"lowest {reading.minimum_ohm:.2f} ohm at {reading.minimum_at_hz:.0f} Hz")
speaker.draw(load)

# %% [markdown]
# ## What has age done to it, and which part did it?

# %%
condition = speaker.condition()
print(condition.conclusion)
for sentence in condition.sentences:
    print("-", sentence)
speaker.draw(condition).save(figures / "condition.svg", force=True)

# %% [markdown]
# ## What if?
#
# A new film capacitor of the marked 4.7 uF in the place of the tired C2, and nothing else: that alone does not bring
# the sum back, as C1 has drifted too, and as a film capacitor lacks the loss that the old one had when it was new.
# Nothing is written for this: the network `trial` is there only in `changed`.

# %%
changed = speaker.with_values("found", C2="4.7uF", C2_esr=0.05, C2_df=0.0005, name="trial")
difference = changed.compare("trial", "original")
print(f"farthest from the original: {difference.worst_db:+.2f} dB at {difference.worst_at_hz:.0f} Hz")
changed.draw(difference)

# %% [markdown]
# ## Leave it, or refresh it?
#
# `speaker.decide(stock=stock)` holds all four ways out side by side; the two that take longest are left out here.

# %%
stock = examples / "stock.csv"
decision = speaker.decide(stock=stock, skip=["redesign", "bypass"])
print(decision.answer)
for reason in decision.reasons:
    print("-", reason)
speaker.draw(decision).save(figures / "decision.svg", force=True)

# %% [markdown]
# ## New parts that keep the voicing
#
# The decision has worked the refresh out already; by itself it is `speaker.refresh(stock=stock)`.

# %%
refreshed = decision.options["refresh"].study
print(refreshed.headline)
for line in refreshed.bill.lines:
    print(f"{line.quantity_for_pair} x {line.what}: {', '.join(line.names)}")
print(refreshed.netlist)
speaker.draw(refreshed).save(figures / "refresh.svg", force=True)

# %% [markdown]
# ## What is needed to build it
#
# `speaker.add_network("refreshed", refreshed.netlist)` would write the new network into the folder, for `predict` and,
# once it is built and swept, for `verify`. A coil to wind, the values that a shop has, and the decision for another
# program:

# %%
print(xover.coil("1.8mH", wire="1.0mm"))
print(xover.values("6.1uF", tolerance=0.05))
(figures / "decision.json").write_text(xover.to_json(decision), encoding="utf-8")
