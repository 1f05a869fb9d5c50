"""The workshop's works as its job book might list them: invented titles, dates, inks and stories.

Each work is a line of facts and a line of story. Facts, between bars:
title | kind | date as written | printed on | design | inks | paper | machine, screen, length | makers

Inks stand in printing order with their full/middle/pale tint; `+` stays in the same pass, `;` starts the next.
A line that starts with `=` is another variant of the work above: name | printed on | inks | paper | machine …
"""

# ruff: noqa: E501 - a table is read by its rows
from __future__ import annotations

WORKS = """
Nine Tides | poster | 2004-05-03 | 2004-05-03 | tides | Kilnsong 100/55/22 + Ferrywake 100/60/25 | Oatleaf 120 | Upstairs FM 180 | Sefa Lindqvane: drawing, Hob Quillfeather: printing
Made for the week when the quay flooded nine times; the second colourway went to those who had helped carry boxes.
= green | 2004-05-11 | Nettlecoat 100/55/22 + Ferrywake 100/60/25 | Oatleaf 120 | Upstairs FM 60
Bus Stop Choir | zine | May 2019 | 2019-05-21 | busstop | Ferrywake 100/50/18 + Oddlight 100/60/30 | Oatleaf 120 | Upstairs FM 240 | Tamsin Grebe: words, Ineke Dusthall: design, Wren Tallow: printing
Songs overheard at the last stop before the sea wall; the coral glows and everybody asks for it.
The Lamp Room | book | autumn 2018 | 2018-10-09 | lamp | Dockrope 100/60/25 + Sootwell 100/50/20 | Oatleaf 120 | Landing FM 320 | Bram Osterlow: words, Sefa Lindqvane: drawing, Lotte Underquay: binding
Twenty-four pages on a room nobody used; page seven alone has a third ink and was argued about for a month.
Salt Wednesday | poster | about 1998 | 1998-06-15 | type | Kilnsong 100/50/20 ; Sootwell 100/55/25 | Oatleaf 120 | Backroom AM 200 | Hob Quillfeather: design
The oldest sheet anyone can find. The fish market paid for it in mackerel.
Market of Small Lamps | poster | December 2016 | 2016-12-02 | lamp | Dockrope 100/55/20 + Damsonlatch 100/60/25 | Oatleaf 120 | Upstairs FM 150 | Ineke Dusthall: design, Odile Marrowby: printing
Every stall had one lamp and no prices; printed the night before, hung still damp.
The Gulls Object | poster | 2011-03-19 | 2011-03-19 | birds | Ferrywake 100/45/18 + Kilnsong 100/50/20 | Chalkroad 90 | Upstairs FM 120 | Pip Saltmarsh: drawing
Against the netting of the quay roofs. The gulls won.
Harbour Ladder | poster | spring 2007 | 2007-04-12 | harbour | Marlbrick 100/55/25 + Ferrywake 100/50/20 | Oatleaf 120 | Backroom AM 140 | Sefa Lindqvane: drawing, Hob Quillfeather: printing
One of the last jobs with the old brown before its drum was emptied.
Late Ferry, No Band | poster | 2013 | 2013-08-30 | harbour | Ferrywake 100/60/25 + Dockrope 100/50/20 | Oatleaf 120 | Upstairs FM 160 | Odile Marrowby: design
The band missed the boat; the evening became a reading.
Orchard Meeting | poster | September 2021 | 2021-09-04 | plants | Dockrope 100/60/25 + Nettlecoat 100/50/20 | Oatleaf 120 | Landing FM 130 | Yusra Fennick: design, Wren Tallow: printing
Apples for paper: the invitation could be paid in either.
Third Floor Weather | poster | 2015-02-11 | 2015-02-11 | weather | Tidewick 100/55/25 + Sootwell 100/45/15 | Chalkroad 90 | Upstairs FM 90 | Bram Osterlow: words, Ineke Dusthall: design
Weather as seen from one window, a month on one sheet.
Dance for Wet Shoes | poster | 2019-11-08 | 2019-11-08 | discs | Oddlight 100/60/30 + Ferrywake 100/55/20 | Oatleaf 120 | Upstairs FM 200 | Ineke Dusthall: design, Wren Tallow: printing
Two inks, one pass, and a floor that was mopped every half hour.
Bread and Signals | poster | summer 2009 | 2009-07-17 | tiles | Kilnsong 100/50/20 + Dockrope 100/60/25 | Ryebank 100 | Backroom AM 110 | Hob Quillfeather: printing, Pip Saltmarsh: drawing
For the railway bakers' open day; smelled of rye for a week.
Lost Umbrella Ball | poster | October 2022 | 2022-10-14 | weather | Damsonlatch 100/55/22 + Kilnsong 100/50/20 | Oatleaf 120 | Upstairs FM 170 | Tamsin Grebe: drawing, Odile Marrowby: printing
Entry with an umbrella that was not yours.
Long Table Supper | poster | 2020-02-29 | 2020-02-29 | lamp | Kilnsong 100/60/25 + Dockrope 100/55/20 ; Sootwell 100/50/20 | Oatleaf 120 | Landing FM 80 | Yusra Fennick: design, Wren Tallow: printing
The last supper before everything closed; forty places, one cloth.
Windmill Arguments | poster | ca. 2001 | 2001-09-20 | facade | Ferrywake 100/50/20 ; Marlbrick 100/55/25 | Ryebank 100 | Backroom AM 150 | Hob Quillfeather: design
Debates on Thursdays. Nobody remembers who won.
Quiet Machines | poster | 2017-06-01 | 2017-06-01 | tiles | Sootwell 100/50/20 + Tidewick 100/60/30 | Oatleaf 120 | Upstairs FM 100 | Ineke Dusthall: design
For an exhibition of clocks that had stopped.
Kite Repair Sunday | poster | April 2023 | 2023-04-16 | sky | Kilnsong 100/50/20 + Ferrywake 100/50/20 | Chalkroad 90 | Upstairs FM 140 | Pip Saltmarsh: drawing, Wren Tallow: printing
Bring string.
Sixteen Chimneys | poster | 2006 | 2006-11-22 | facade | Sootwell 100/55/20 + Kilnsong 100/50/20 | Oatleaf 120 | Backroom AM 120 | Sefa Lindqvane: drawing
Counted from the attic window; there were seventeen.
Low Water Swim | poster | 2018-08-11 | 2018-08-11 | tides | Ferrywake 100/55/20 + Peltrose 100/60/25 | Oatleaf 120 | Landing FM 130 | Tamsin Grebe: drawing, Wren Tallow: printing
The line of wet footprints was drawn on the morning of the swim.
Moth Census | poster | July 2020 | 2020-07-24 | plants | Damsonlatch 100/50/20 + Dockrope 100/60/25 | Duskmoth 140 | Upstairs FM 110 | Sefa Lindqvane: drawing, Odile Marrowby: printing
The paper was named after the moth, or the other way round.
Allotment Opera | poster | 2012-05-26 | 2012-05-26 | plants | Nettlecoat 100/55/22 + Kilnsong 100/50/20 | Oatleaf 120 | Upstairs FM 160 | Ineke Dusthall: design
Three acts between the beans. Rain stopped the second.
Night Bus Atlas | poster | 2021-12-03 | 2021-12-03 | contours | Ferrywake 100/50/20 + Sootwell 100/45/15 | Oatleaf 120 | Upstairs FM 150 | Bram Osterlow: words, Ineke Dusthall: design
Every route after midnight, drawn from memory by its driver.
Fog Rehearsal | poster | undated | 2010-01-30 | photo | Sootwell 100/50/15 + Ferrywake 100/45/15 | Chalkroad 90 | Backroom AM 70 | Hob Quillfeather: printing
No date on the sheet. The horn on the pier was mended in the winter of 2010.
Seedling Swap | poster | March 2024 | 2024-03-09 | plants | Nettlecoat 100/50/20 + Dockrope 100/55/25 | Oatleaf 120 | Landing FM 120 | Yusra Fennick: design, Wren Tallow: printing
Sixty trays, eleven kinds of bean, one unknown.
Paper Boats Regatta | poster | 2014-06-21 | 2014-06-21 | harbour | Tidewick 100/60/25 + Kilnsong 100/55/20 | Oatleaf 120 | Landing FM 180 | Pip Saltmarsh: drawing, Odile Marrowby: printing
All boats were folded from spoiled sheets of the poster itself.
Concert in a Stairwell | poster | 2019-02-16 | 2019-02-16 | type | Ferrywake 100/50/20 + Dockrope 100/60/25 | Oatleaf 120 | Upstairs FM 140 | Ineke Dusthall: design, Wren Tallow: printing
Four floors, one cello. The green came by itself.
Yellow Door Week | poster | 2022-06-07 | 2022-06-07 | facade | Dockrope 100/60/25 + Sootwell 100/50/18 | Oatleaf 120 | Landing FM 150 | Tamsin Grebe: drawing
Any house with a yellow door was open.
Winter Print Sale | poster | winter 2015 | 2015-12-05 | discs | Gullbone 100/60/30 + Kilnsong 100/55/20 | Duskmoth 140 | Upstairs FM 110 | Odile Marrowby: design and printing
Bone first, red on top: the other way round went brown and is in the trials drawer.
Clay and Kettles | poster | 2008-10-04 | 2008-10-04 | tiles | Marlbrick 100/60/30 + Dockrope 100/55/25 | Oatleaf 120 | Backroom AM 130 | Hob Quillfeather: printing, Sefa Lindqvane: drawing
Potters and printers shared one stove.
The River Votes | poster | 2016-05-18 | 2016-05-18 | contours | Ferrywake 100/55/20 + Nettlecoat 100/50/20 | Oatleaf 120 | Landing FM 250 | Yusra Fennick: design
Ballot papers were leaves. Turnout was high.
Borrowed Bicycles | poster | 2023-09-02 | 2023-09-02 | discs | Kilnsong 100/55/20 + Sootwell 100/50/18 | Chalkroad 90 | Landing FM 160 | Pip Saltmarsh: drawing, Wren Tallow: printing
Nine bicycles, forty riders, a list on the wall.
Open Attic | poster | 2024-09-14 | 2024-09-14 | type | Ferrywake 100/55/22 + Kilnsong 100/50/20 | Oatleaf 120 | Upstairs FM 220 | Ineke Dusthall: design, Wren Tallow: printing
The workshop's own open day, with the drum chart as wallpaper.
Snow, Possibly | poster | January 2017 | 2017-01-13 | sky | Tidewick 100/50/20 + Damsonlatch 100/55/20 | Chalkroad 90 | Upstairs FM 90 | Bram Osterlow: words, Tamsin Grebe: drawing
It did not snow. The sheet sold out.
Sundial Club | poster | 2020-09-19 | 2020-09-19 | discs | Dockrope 100/60/25 + Peltrose 100/60/30 | Oatleaf 120 | Landing FM 120 | Sefa Lindqvane: drawing
Meets when it can.
Cinema in the Laundry | poster | 2014-10-31 | 2014-10-31 | photo | Sootwell 100/50/18 + Oddlight 100/55/25 | Oatleaf 120 | Landing FM 130 | Odile Marrowby: design
Films projected on a hung sheet; the coral has faded where the sun reached it.
Echo Walk | poster | 2021-05-15 | 2021-05-15 | contours | Damsonlatch 100/50/20 + Tinhymn 100/60/30 | Oatleaf 120 | Upstairs FM 80 | Cosmo Pell-Arden: idea, Ineke Dusthall: design
The silver line is the path; hold the sheet to the light to find it.
Pocket Weather | zine | 2016 | 2016-03-11 | weather | Ferrywake 100/50/20 + Peltrose 100/60/25 | Oatleaf 120 | Landing FM 100 | Tamsin Grebe: words and drawing
Twelve skies in sixteen pages, sized for a coat pocket.
Ladders I Have Known | zine | 2005 | 2005-10-18 | tiles | Marlbrick 100/55/25 ; Sootwell 100/50/20 | Ryebank 100 | Backroom AM 80 | Hob Quillfeather: words, Sefa Lindqvane: drawing
Two passes on the old machine, and it shows.
Notes from a Kettle | zine | February 2018 | 2018-02-20 | lamp | Kilnsong 100/55/22 + Tidewick 100/50/20 | Oatleaf 120 | Upstairs FM 120 | Bram Osterlow: words, Odile Marrowby: printing
Printed with the last of the teal.
Small Engines | zine | 2010-09-09 | 2010-09-09 | discs | Ferrywake 100/55/20 + Sootwell 100/50/20 | Chalkroad 90 | Upstairs FM 100 | Pip Saltmarsh: drawing
Exploded views of things that would not start.
Peel | zine | 2022-03-25 | 2022-03-25 | plants | Dockrope 100/60/25 + Kilnsong 100/50/20 | Oatleaf 120 | Upstairs FM 150 | Ineke Dusthall: design, Wren Tallow: printing
Citrus, sunburn, wallpaper.
The Pigeon Index | zine | 2013-01-22 | 2013-01-22 | birds | Damsonlatch 100/55/20 + Sootwell 100/45/18 | Ryebank 100 | Upstairs FM 90 | Cosmo Pell-Arden: words, Pip Saltmarsh: drawing
Forty-one birds, each with a name and a crime.
Tide Table for Beginners | zine | June 2020 | 2020-06-12 | tides | Ferrywake 100/50/20 + Nettlecoat 100/55/20 | Oatleaf 120 | Upstairs FM 140 | Yusra Fennick: words, Wren Tallow: printing
Made when nobody could go down to the water.
Recipes for One Pan | zine | 2021-02-27 | 2021-02-27 | columns | Kilnsong 100/50/20 + Nettlecoat 100/50/20 | Chalkroad 90 | Landing FM 160 | Tamsin Grebe: words, Ineke Dusthall: design
The stains on the reference copy are part of its history.
A Field Guide to Fences | zine | 2017-04-08 | 2017-04-08 | facade | Tidewick 100/55/25 + Marlbrick 60/40/20 | Oatleaf 120 | Landing FM 70 | Cosmo Pell-Arden: words
The brown was a last tin found behind the stove and printed at a tint to make it last.
Soft Corners | zine | 2023-01-20 | 2023-01-20 | tiles | Peltrose 100/60/25 + Sootwell 100/50/20 | Oatleaf 120 | Landing FM 120 | Lotte Underquay: words and binding
On rounding, wear and hands.
Left Luggage | zine | about 2003 | 2003-05-29 | columns | Ferrywake 100/50/20 ; Kilnsong 100/55/20 | Oatleaf 120 | Backroom AM 90 | Hob Quillfeather: printing, Bram Osterlow: words
Lists found in coats.
How to Fold a Map Back | zine | 2024-05-30 | 2024-05-30 | contours | Nettlecoat 100/50/20 + Kilnsong 100/55/20 | Oatleaf 120 | Upstairs FM 130 | Ineke Dusthall: design, Wren Tallow: printing
It cannot be done. Eight pages of proof.
Hello Lichen | zine | 2019-09-27 | 2019-09-27 | photo | Dockrope 100/55/20 + Nettlecoat 100/50/20 | Ryebank 100 | Landing FM 110 | Sefa Lindqvane: pictures, Wren Tallow: printing
Photographs from the churchyard wall, coarse on purpose.
Eleven Rooms by the Water | book | 2012 | 2012-09-14 | facade | Ferrywake 100/55/20 + Kilnsong 100/50/20 | Oatleaf 120 | Upstairs FM 200 | Bram Osterlow: words, Sefa Lindqvane: drawing, Lotte Underquay: binding
A floor plan a chapter. Room nine is missing from copy three.
Alphabet of Tools | book | 2020-11-02 | 2020-11-02 | type | Kilnsong 100/55/20 + Sootwell 100/50/20 | Oatleaf 120 | Landing FM 180 | Ineke Dusthall: design, Lotte Underquay: binding
A letter a page, a tool a letter; X was hard.
A Short History of Puddles | book | spring 2022 | 2022-04-21 | sky | Ferrywake 100/50/20 + Dockrope 100/55/22 | Oatleaf 120 | Upstairs FM 150 | Tamsin Grebe: drawing, Bram Osterlow: words
Best read in boots.
Salt Letters | book | 2009 | 2009-03-06 | columns | Sootwell 100/50/20 + Marlbrick 100/55/25 | Oatleaf 120 | Backroom AM 100 | Bram Osterlow: words, Hob Quillfeather: printing
Letters between two lighthouses. One never answers.
What the Drums Said | book | 2023-11-10 | 2023-11-10 | discs | Damsonlatch 100/55/20 + Kilnsong 100/50/20 ; Dockrope 100/60/25 | Oatleaf 120 | Upstairs FM 120 | Wren Tallow: printing, Ineke Dusthall: design
The workshop's own colours, a spread each. Used as a chart more than as a book.
Harbour Grammar | book | 2015-08-25 | 2015-08-25 | harbour | Tidewick 100/55/20 + Sootwell 100/50/20 | Oatleaf 120 | Upstairs FM 140 | Bram Osterlow: words, Pip Saltmarsh: drawing
Verbs for ropes.
Make-ready, Box 14 | test | undated | 2019-11-08 | makeready | Ferrywake 100/55/20 + Oddlight 100/60/30 | Oatleaf 120 | Upstairs FM 40 | Wren Tallow: printing
One sheet that went through three jobs. Its overlaps were never meant by anyone.
Drum chart, spring 2019 | test | 2019-03-28 | 2019-03-28 | chart | Ferrywake 100/50/20 + Dockrope 100/50/20 | Oatleaf 120 | Upstairs FM 30 | Wren Tallow: printing
Made on a slow day and consulted ever since.
Overlap trials | test | 2022-01-17 | 2022-01-17 | chart | Kilnsong 100/50/20 + Ferrywake 100/50/20 | Oatleaf 120 | Upstairs FM 25 | Odile Marrowby: printing
Which first? Both. The sheet is signed on the back by everyone who was asked.
Untitled (green over bone) | test | undated | 2011-06-08 | discs | Gullbone 100/60/30 + Nettlecoat 100/55/20 | Duskmoth 140 | Upstairs FM 20 | Odile Marrowby: printing
Found in a folder marked "no".
Leftover sheets, winter | test | about 2014 | 2014-02-03 | tiles | Peltrose 100/60/25 + Tidewick 100/55/25 | Chalkroad 90 | Landing FM 15 | Cosmo Pell-Arden: listing
Too good to throw out, too few to bind.
"""
