"""How simulated customers say things, in English. Written apart from the phrases in flows/ and never copied into them.

`CLAUSES`: (fact, value) -> clauses that say it. `OPENERS`: device kind -> how the device is called; `{about}` stands for the rest.
What has no clause here is answered by the label of the choice.
"""

from __future__ import annotations

CLAUSES: dict[tuple[str, str], tuple[str, ...]] = {
    ("no_power", "yes"): ("it is completely dead, no light, nothing", "it won't power up at all", "pressing the power button does nothing"),
    ("no_display", "yes"): ("the picture is gone, just a black screen", "nothing shows on the tv"),
    ("no_sound", "yes"): ("there is no sound at all", "I get no audio out of it"),
    ("shuts_off", "yes"): ("it shuts itself off after a while", "it turns off by itself"),
    ("disc_not_read", "yes"): ("it doesn't read any disc", "no disc gets recognised any more", "whatever disc I put in, it reads nothing"),
    ("some_discs_fail", "yes"): ("some discs work and others don't", "it reads some discs but not others"),
    ("only_one_disc", "yes"): ("it is just one disc that fails, all the others play", "only this one disc won't play"),
    ("intermittent_read", "yes"): ("sometimes it reads the disc and sometimes it doesn't", "it only reads discs now and then"),
    ("skips", "yes"): ("it keeps skipping", "playback jumps and freezes", "the film freezes all the time"),
    ("skips", "no"): ("it does not skip",),
    ("no_power", "no"): ("it does turn on",),
    ("no_sound", "no"): ("the sound is fine",),
    ("disc_not_accepted", "no"): ("it does take the disc in",),
    ("wont_eject", "no"): ("it does give the disc back",),
    ("rattles", "no"): ("nothing rattles in it",),
    ("error_message", "no"): ("there is no error on the screen",),
    ("moved_house", "no"): ("we never moved",),
    ("cleaning_disc_used", "no"): ("I never ran a cleaning disc",),
    ("software_reset", "no"): ("I did no reset",),
    ("fails_when_warm", "no"): ("being warm makes no difference",),
    ("disc_not_accepted", "yes"): ("it won't take the disc in", "the disc does not get pulled in any more"),
    ("ejects_by_itself", "yes"): ("it spits the disc right back out", "the disc comes back out by itself"),
    ("wont_eject", "yes"): ("it won't eject", "it will not give the disc back"),
    ("tray_wont_close", "yes"): ("the tray won't close", "the tray doesn't stay shut"),
    ("noise", "grinding"): ("it makes a grinding noise", "there is a grinding sound"),
    ("noise", "clicking"): ("it clicks", "there is a clicking noise"),
    ("noise", "whirring"): ("it makes a whirring sound", "it whirrs"),
    ("noise", "none"): ("it makes no odd noise",),
    ("noise_at_power_on", "yes"): ("the noise comes as soon as I switch it on",),
    ("noise_with_disc", "yes"): ("it is only noisy with a disc in",),
    ("spins", "yes"): ("I can hear the disc spin", "the disc spins up"),
    ("spins", "no"): ("the disc doesn't spin", "the disc does not turn at all"),
    ("lens_moves", "no"): ("the lens does not move",),
    ("whirrs_without_moving", "yes"): ("I hear the motor run but nothing moves",),
    ("rattles", "yes"): ("something rattles inside when I lift it", "it rattles when I shake it"),
    ("scratches_discs", "yes"): ("it scratches my discs", "discs come out scratched"),
    ("drive_not_detected", "yes"): ("the computer doesn't see the drive", "the drive is not detected"),
    ("buttons_ignored", "yes"): ("the buttons do nothing", "it ignores the buttons"),
    ("error_message", "yes"): ("it shows an error message", "an error comes up on the screen"),
    ("slow_decline", "yes"): ("it got worse bit by bit over months", "it slowly got worse"),
    ("slow_decline", "no"): ("it happened suddenly",),
    ("fails_when_warm", "yes"): ("it only fails once it is warm", "it goes wrong after half an hour when it gets hot"),
    ("when_fails", "mid_play"): ("it fails in the middle of playing",),
    ("when_fails", "loading"): ("it goes wrong when the disc goes in",),
    ("when_fails", "reading"): ("it fails when it should read the disc",),
    ("when_fails", "ejecting"): ("it goes wrong when the disc comes out",),
    ("games_seen_as_video", "yes"): ("it thinks games are dvds",),
    ("new_titles_only", "yes"): ("only the newest titles fail",),
    ("burned_discs_only", "yes"): ("only discs I burned myself fail",),
    ("disc_looks_damaged", "yes"): ("the disc has scratches on it",),
    ("disc_plays_elsewhere", "yes"): ("the disc plays fine in another player",),
    ("cd_result", "plays"): ("CDs play fine", "music CDs still work"),
    ("cd_result", "fails"): ("CDs don't work", "it won't play CDs"),
    ("cd_result", "not_tried"): ("I haven't tried a CD",),
    ("dvd_result", "plays"): ("DVDs play fine", "DVDs still work"),
    ("dvd_result", "fails"): ("DVDs don't play", "it won't read DVDs"),
    ("dvd_result", "not_tried"): ("I haven't tried a DVD",),
    ("bluray_result", "plays"): ("Blu-rays are fine", "Blu-ray discs work"),
    ("bluray_result", "fails"): ("Blu-rays don't play", "it refuses Blu-ray discs"),
    ("bluray_result", "not_tried"): ("I haven't tried a Blu-ray",),
    ("game_result", "plays"): ("games load fine", "game discs work"),
    ("game_result", "fails"): ("games won't load", "game discs are not read"),
    ("game_result", "not_tried"): ("I haven't tried a game",),
    ("disc_stuck", "yes"): ("a disc is stuck inside", "there's a disc in it that I can't get out"),
    ("disc_stuck", "no"): ("there is no disc inside",),
    ("smoke_or_smell", "yes"): ("there was a burning smell", "it started smoking"),
    ("liquid_inside", "yes"): ("someone spilled juice into it", "water got into it"),
    ("dropped", "yes"): ("it fell off the shelf", "it was dropped once"),
    ("dropped", "no"): ("it was never dropped",),
    ("bought_used", "yes"): ("I bought it second hand",),
    ("bought_used", "no"): ("I bought it new",),
    ("opened", "nobody"): ("nobody has opened it", "it has never been opened"),
    ("opened", "owner"): ("I opened it myself", "I had the lid off myself"),
    ("opened", "friend"): ("a friend opened it up",),
    ("opened", "shop"): ("a repair shop had it open", "a shop opened it before"),
    ("lens_cleaned", "owner"): ("I cleaned the lens with a swab",),
    ("lens_cleaned", "shop"): ("a shop cleaned the lens",),
    ("cleaning_disc_used", "yes"): ("I ran a cleaning disc",),
    ("software_reset", "yes"): ("I did a factory reset",),
    ("moved_house", "yes"): ("we moved house before that",),
    ("long_unused", "yes"): ("it stood in a cupboard for years",),
    ("smoky_or_dusty_home", "yes"): ("we smoke at home",),
    ("child_at_home", "yes"): ("my toddler likes to put things in it",),
    ("original_board_place", "lost"): ("the original board is lost",),
    ("original_board_place", "loose_in_box"): ("I still have the original board in a drawer",),
    ("original_board_place", "in_device"): ("the original board is still in the console",),
    ("started_after", "nothing"): ("nothing special happened before it started",),
    ("started_after", "opening"): ("it started after it had been opened",),
    ("started_after", "drop"): ("it began after it fell",),
    ("started_after", "move"): ("it began after we moved",),
    ("started_after", "update"): ("it started after an update",),
}  # fmt: skip

EMPTY_AND_SHUT = ("eject does nothing, and there is no disc in it", "it won't open, it is empty")
"""How `wont_eject` is told of a device that no disc is in."""

DEVICES: dict[str, tuple[str, ...]] = {
    "console_slot": ("my slot-loading console", "a game console where you push the disc into a slot"),
    "console_tray": ("my games console with a tray", "an older console with a disc tray"),
    "bd_player": ("my blu-ray player", "a Blu-ray player"),
    "dvd_player": ("my dvd player", "our DVD player"),
    "cd_player": ("my cd player", "a CD player from the nineties"),
    "hifi_system": ("my stereo system", "a compact stereo with a cd slot"),
    "computer_drive": ("the disc drive in my computer", "my laptop's dvd drive"),
    "portable_player": ("my portable cd player",),
    "other_device": ("an old disc machine",),
}

BARE = (
    "hi, {device} is broken", "hello, can you fix {device}?", "{device} stopped working",
    "{device} has a problem",
)  # fmt: skip
LEAD_INS = ("", "Hi, ", "hello there. ", "So, ", "Help! ")
RAMBLES = (
    "I got it as a birthday present and loved it.", "My sister said you are good.", "It is a long story.",
    "I am not very technical, sorry.", "We really miss our film nights.",
)  # fmt: skip
CORRECTIONS = (
    "actually, {clause}",
    "sorry, I got that wrong: {clause}",
    "no wait, {clause}",
    "I meant {clause}",
)
NOT_SURE = ("not sure", "no idea", "I don't know")
NONE = ("none of these", "none", "no", "none of them")
YES = ("yes", "yeah", "yep")
NO = ("no", "nope", "no it doesn't")
HOSTILE = (
    "this is ridiculous", "what a stupid bot", "I want a real person", "why do you need to know that", "just fix it",
    "waste of time", "person",
)  # fmt: skip
AGE = ("it is about {n} years old", "{n} years", "roughly {n} years old")
