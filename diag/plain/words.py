"""The words that can be typed at any question."""

from __future__ import annotations

HELP = """At any question:
  an answer, as the line before it says        n        not sure
  x        can't be done here                  why      why this check
  o2, o3   take the second or third offer      list W   search checks and results by words
  take W   take any check                      tell W   tell a result nobody asked for
  words    answer a reading in words           aloud    figures read aloud one by one
  form     all checks of one look at once      details  rows, who, when of the next answer
  causes   ranked causes                       how W    what speaks for and against a cause
  not W    why not that cause                  rules    which rules fired
  what W   try an outcome without recording    charts   the readings drawn
  show ID  the knowledge behind an id          trail    what was recorded
  back     undo                                again    redo
  change N answer number N of the trail anew   drop N   take number N back
  move N C move an answer to another call      rows, machine, situation, complaint
  phone, site   go on by phone or on site      note T   write a note
  before T      done before the call           swap P A B   piece P of row A now sits in row B
  changed N     a setting changed for a test   wait F   park the call: waiting for what
  photo F       a photo and what it shows      homework up to three checks for one walk
  sheet F  a field sheet                       catch-up what was done, typed afterwards
  card F   the hand-over card                  repair W record a repair
  for-now W     record an interim measure      proof    verdict on a repair
  follow-up     after the call-back            write    the write-up
  missing  what the write-up lacks             give D T a detail for the write-up
  load     what to load on the truck           close    close the call
  plan     how to prove the last repair        decide   keep planting, go slower or stop
  file F   readings from a CSV file            settings units, channel
  without  tools that are not at hand          stock    where the parts are
  healthy  keep readings as reference
  list, ?  help                                quit     leave it as it is (nothing is lost)"""
