"""The documents and bodies of practice that facts are taken from.

Editions are given as they were known. A source listed here was not always read: each value's own
mark says how it is known.
"""

from __future__ import annotations

from collections.abc import Mapping

from byrewright.standards.model import Source

_ALL = (
    Source("practice", "Common practice, no source", "held by practised engineers; check locally"),
    Source(
        "coolprop",
        "CoolProp 8.0, incompressible solutions, after Melinder, Properties of Secondary Working "
        "Fluids for Indirect Systems, 2010",
        "read by running the library; the book not read",
    ),
    Source(
        "en1717",
        "EN 1717:2000 Protection against pollution of potable water in water installations",
        "recalled, not read; the local code decides",
    ),
    Source("user", "Stated by the user", "entered in the limits file beside the plant"),
    Source("definition", "Definition or geometry", "follows from arithmetic alone"),
    Source(
        "iso5707",
        "ISO 5707:2007 Milking machine installations: construction and performance",
        "text not read for this product; clause and annex numbers are approximate",
    ),
    Source(
        "iso6690",
        "ISO 6690:2007 Milking machine installations: mechanical tests",
        "contents list read, text not read",
    ),
    Source("iso3918", "ISO 3918:2007 Milking machine installations: vocabulary", "not read"),
    Source(
        "nmc",
        "National Mastitis Council, Procedures for Evaluating Vacuum Levels and Air Flow in "
        "Milking Systems, 2004 revision",
        "a Spanish rendering of an earlier revision gave the limits used here",
    ),
    Source(
        "cornell2018",
        "Watters R., Quality Milk Production Services, Cornell University, lecture to milking "
        "equipment installers, 2018",
        "slides",
    ),
    Source(
        "us_extension_vacuum",
        "US Cooperative Extension, energy module unit 2.2, dairy farm vacuum pumps",
    ),
    Source(
        "reinemann1995",
        "Reinemann D.J., Mein G.A., Prediction of milkline fill and transition from stratified "
        "to slug flow, Transactions of the ASAE 38(3), 1995",
        "abstract and introduction read; coefficients not readable",
    ),
    Source(
        "reinemann1993",
        "Reinemann, Ronningen, Mein, Patoch, Transition between stratified flow and slug flow "
        "conditions in milklines, NMC 32nd Annual Meeting, 1993",
        "introduction read",
    ),
    Source(
        "reinemann_cip",
        "Reinemann D.J., Grasshoff A., Milkline cleaning dynamics, Dairy, Food and "
        "Environmental Sanitation 13(8):462-467, 1993",
        "introduction read",
    ),
    Source(
        "unal2017",
        "Unal H., Arslan S., Erdogan H., Effect of altitude and vacuum pressure on flow rate of "
        "vacuum pumps on milking machines, Agronomy Research 15(2):602-614, 2017",
        "abstract read",
    ),
    Source(
        "wisconsin_energy",
        "Wisconsin Dairy Farm Energy Management Handbook, state department of agriculture",
        "vacuum pump and water heating pages",
    ),
    Source(
        "nz_testers2008",
        "New Zealand milking plant testers' association, note on determining system vacuum, 2008",
    ),
    Source(
        "dutch_education",
        "Dutch agricultural education, chapters on cleaning and on the milk-carrying part",
        "secondary source",
    ),
    Source(
        "mamedova2021",
        "Mamedova R.A., Fluid flow regime during milk pipeline washing, Agricultural Science "
        "Euro-North-East 22(2):278-286, 2021",
        "abstract read",
    ),
    Source(
        "ege2025",
        "Investigation of pressure drop in main air line of pipeline milking system, Ege "
        "University journal of agriculture faculty 62(1):49-62, 2025",
        "abstract read",
    ),
    Source(
        "callejo2008",
        "Callejo A., Universidad Politecnica de Madrid, course on milking machinery, 2008",
        "opening read",
    ),
    Source("german_trade", "German-language trade summary of DIN ISO 5707, cluster air admission"),
    Source("german_advice", "German advisory page on claw vacuum, citing the standard's band"),
    Source("asae_s518", "ASAE S518 milkline sizing", "recalled, not read"),
    Source(
        "edwards2012",
        "Edwards, Lopez-Villalobos, Jago, Animal Production Science 52(10):969-973, 2012, "
        "doi 10.1071/AN12071",
        "abstract read",
    ),
    Source(
        "edwards2013",
        "Edwards et al., Journal of Dairy Science, 2013, S0022-0302(13)00264-6",
        "introduction read",
    ),
    Source("nz_levy", "New Zealand dairy levy body, pages on rotary operation and plant cleaning"),
    Source("uk_levy", "UK agricultural levy board, milking and energy pages"),
    Source("armstrong", "Armstrong, University of Arizona, time-and-motion guidelines"),
    Source(
        "prendergast2025",
        "Prendergast, Upton, Buckley, Murphy, Journal of Dairy Science 108(4):3780-3795, 2025, "
        "doi 10.3168/jds.2024-25765",
        "abstract read",
    ),
    Source("irish_advice", "Irish dairy advisory body and farming press, plate cooling and energy"),
    Source(
        "choi_okos",
        "Choi Y., Okos M.R., Effects of temperature and composition on the thermal properties "
        "of foods, Food Engineering and Process Applications vol. 1, 93-101, 1986",
        "coefficients seen identically in several reprints",
    ),
    Source(
        "bakshi_smith",
        "Bakshi A.S., Smith D.E., Journal of Dairy Science 67(6):1157-1160, 1984",
        "abstract read",
    ),
    Source("kays_london", "Kays W.M., London A.L., Compact Heat Exchangers (effectiveness-NTU)"),
    Source("lange", "Lange's Handbook of Chemistry, 15th edition, Table 5.13"),
    Source(
        "en13732",
        "EN 13732:2022 and ISO 5708, refrigerated bulk milk tanks",
        "scope read; class tables from memory",
    ),
    Source(
        "ucfs2009",
        "University of California food-safety institute manual, 2009, summarising 3-A Standard "
        "13 on farm bulk tanks",
    ),
    Source("pmo", "US Grade A Pasteurized Milk Ordinance", "as summarised by a state university"),
    Source("california", "California Food and Agricultural Code 35783 and 3 CCR article 10"),
    Source("massachusetts", "Massachusetts 330 CMR 27.05"),
    Source("eu853", "Regulation (EC) 853/2004, Annex III, Section IX, Chapter I, II.B"),
    Source("australia", "Australian dairy industry, milk cooling quick note 4.7"),
    Source("new_zealand", "New Zealand raw milk cooling rule in force since 1 June 2018"),
    Source(
        "us_extension", "US extension publications on milk cooling, cleaning and farm generators"
    ),
    Source("scottish", "Scottish farm advisory service, dairy energy pages"),
    Source("doe_air", "US DOE Compressed Air Tip Sheets, 2004, and tool documentation"),
    Source("iso8573", "ISO 8573-1:2010 compressed air purity classes"),
    Source("iso7183", "ISO 7183 compressed air dryers, option A1"),
    Source("iec60034_12", "IEC 60034-12 starting performance of cage induction motors"),
    Source("iec60034_1", "IEC 60034-1 rotating electrical machines: rating and performance"),
    Source("iec60947_2", "IEC 60947-2 low-voltage circuit-breakers"),
    Source("iec61000_3_3", "IEC 61000-3-3 limits of voltage changes and flicker"),
    Source("iec60072", "IEC 60072-1 dimensions and outputs of rotating machines"),
    Source("nec430", "US National Electrical Code 430.7(B)"),
    Source("iso2037", "ISO 2037 stainless steel tubes for the food industry"),
    Source("bpe", "ASME BPE bioprocessing equipment, tube sizes"),
    Source(
        "fluid_handbooks",
        "General fluid handbooks: losses of fittings and openings",
        "recalled, not read",
    ),
    Source("trade_press", "Dairy trade press and popular articles", "read in stored copies"),
    Source("drive_reference", "Drive-engineering reference page, trolley travel resistance"),
    Source("rolling_reference", "General engineering reference, rolling resistance coefficients"),
    Source(
        "regulator_counts",
        "Counts of regulator faults: 45 % of 250 machines surveyed by Reaseheath College "
        "(Farmers Weekly, 20 October 1995); over half of the dairies of a Florida survey "
        "(University of Florida extension, DS4, Bray); 54.5 % of the vacuum-system failures of "
        "linear plants (Agricultural Engineering (Moscow) 25(1):23-27, 2023, "
        "doi 10.26897/2687-1149-2023-1-23-27)",
        "article, fact sheet and abstract read; the rate is derived: a fault found at 45 % of "
        "yearly visits comes about 1.35 times a year, in some 2000 h of milking",
    ),
    Source(
        "weibull_table",
        "Weibull machinery life table, widely reprinted (attributed to Bloch, Geitner and "
        "Barringer)",
        "engineering judgement, not measured on milking plant",
    ),
    Source("iec61508", "IEC 61508-6 common cause beta factor", "recalled, not read"),
    Source("isa18", "ANSI/ISA-18.2-2016 clause 16 and IEC 62682", "figures recalled"),
    Source("eemua191", "EEMUA 191 alarm systems guide", "read in a secondary source"),
    Source("iec62881", "IEC 62881:2018 cause and effect matrix"),
    Source("ehedg", "EHEDG documents 14 and 20, valves and double-seat mixproof valves"),
    Source(
        "dairynz",
        "DairyNZ, pages on rotary bail cupping, rotary entry and exit, and herringbone exit",
        "levy body of New Zealand",
    ),
    Source(
        "ontario_centre",
        "House H., Milking centre design and construction for parlour milking, Ontario ministry "
        "of agriculture fact sheet",
    ),
    Source("nz_building_sizes", "Rural building and yard sizes, New Zealand farm building pages"),
    Source("mwps7", "MWPS-7 Dairy Freestall Housing and Equipment", "recalled, not read"),
    Source("teagasc2011", "Ryan T., Teagasc, Emerald Expo 2011, milking parlour dimensions"),
    Source("ccr648", "California Code of Regulations 3 CCR 648, milk room"),
    Source("south_dakota", "South Dakota Administrative Rules 12:81:08:11 and 12:81:08:12"),
    Source("arizona", "Arizona Administrative Code R3-2-806", "end of a sentence cut off"),
    Source("montana", "Montana administrative rules 32.8 and Minnesota 32.212, milk house"),
    Source(
        "ontario_lanes", "Dairy Farmers of Ontario, producer handbook, section C, milk truck lanes"
    ),
    Source("stephenson_axle", "Stephenson M., Cornell, US extension dairy pages on milk hauling"),
    Source("nec110", "US National Electrical Code 110.26(A), working space", "quoted in IRC E3405"),
    Source("irc3405", "International Residential Code E3405, notes to its figure"),
    Source(
        "iec60364_552",
        "IEC 60364-5-52 selection of wiring: volt drop (annex G), current-carrying capacity "
        "(table B.52.4, method C) and grouping",
        "recalled, not read",
    ),
    Source("iec60364_729", "IEC 60364-7-729 gangways", "recalled, not read"),
    Source(
        "centre_ventilation", "Optimizing ventilation in milking centers, US dairy trade article"
    ),
    Source("noise_directive", "Directive 2003/10/EC noise at work", "read in several summaries"),
    Source("pump_foundations", "Pump foundation notes of two independent engineering pages"),
    Source("ipc704", "International Plumbing Code table 704.1, as in a Chicago code"),
    Source("msssp69", "MSS SP-69 pipe support spacing", "read in two engineering reference tables"),
    Source("piping_handbook", "Facility Piping Systems Handbook, table on page 2.73"),
    Source("ufgs15561", "UFGS 15561A, US guide specification for piping"),
)

SOURCES: Mapping[str, Source] = {source.key: source for source in _ALL}
"""Every source by key."""
