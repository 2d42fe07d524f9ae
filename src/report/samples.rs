//! Made-up reports for the tests of the writers.

use super::{Block, Cell, Column, Illustration, Report, Section, Table};
use crate::figures::{
    CurveLine, Figure, MarkedRate, MeanPoint, ResponsePanel, ResponsePanels, Style, Width, Words, render,
};

/// Texts that are markup in one of the formats, or that no format should stumble over.
pub(super) const HOSTILE: [&str; 14] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "' onmouseover='alert(1)",
    "</title></style></section></html><!--",
    "]]>&lt;b&gt; &amp; &#x3C;i>",
    "#panic(\"run\") #import \"other.typ\": *",
    "= Heading\n- point\n+ point\n/ term: what",
    "*bold* _slant_ `raw` $x^2$ @label <label> \\ ~ -- // note /* note */",
    "#{ while true {} } ]) } #[",
    "nul \u{0} escape \u{1B}[31m delete \u{7F} end \u{FFFF}",
    "\u{202E}turned\u{202C} \u{200B}\u{2066} \u{1F33E} 稲 قمح",
    "",
    "=1+1",
    "a-word-without-a-place-to-break-0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef",
];

/// A number as it is read and as it is.
fn number(value: f64, decimals: usize) -> Cell {
    Cell { text: format!("{value:.decimals$}"), number: Some(value) }
}

/// A word.
fn word(text: &str) -> Cell {
    Cell { text: text.to_owned(), number: None }
}

fn column(head: &str, is_number: bool) -> Column {
    Column { head: head.to_owned(), is_number }
}

fn text(words: &str) -> String {
    words.to_owned()
}

fn section(name: &str, title: &str, blocks: Vec<Block>) -> Section {
    Section { name: text(name), title: text(title), blocks }
}

/// A table of as many plots.
pub(super) fn long_table(count: u32) -> Table {
    let row = |plot: u32| {
        let at = f64::from(plot);
        let rate = f64::from(plot % 6) * 40.0;
        let remark = if plot % 17 == 3 {
            "combine plugged at the north end, weight not taken; left out of every mean"
        } else {
            ""
        };
        vec![
            word(&format!("{}", 100 + plot)),
            word(if plot.is_multiple_of(2) { "Pale Heron" } else { "Grey Dawn" }),
            number(rate, 0),
            number(61.25 + rate * 0.2 + (at * 1.7).sin() * 3.0, 1),
            number(13.0 + (at * 0.9).cos(), 2),
            word(remark),
        ]
    };
    Table {
        name: text("plot-yields"),
        title: text("Plot yields at 13.5 % moisture"),
        columns: vec![
            column("Plot", false),
            column("Variety", false),
            column("N rate (lb/ac)", true),
            column("Yield (bu/ac)", true),
            column("Moisture (%)", true),
            column("Remark", false),
        ],
        rows: (1..=count).map(row).collect(),
        notes: vec![text("Yield: weight over harvested area, brought to standard moisture.")],
    }
}

/// A table of 14 columns.
pub(super) fn wide_table() -> Table {
    #[rustfmt::skip]
    let heads = [
        "Site-year", "Design", "n", "Mean yield (bu/ac)", "CV (%)", "Response p", "Curve", "AONR (lb/ac)", "EONR (lb/ac)",
        "EONR low (lb/ac)", "EONR high (lb/ac)", "Net return (USD/ac)", "R²", "Lack of fit p",
    ];
    let sites = [
        ("Upper Terrace 2024", "quadratic-plateau"),
        ("Osier Bend 2025", "linear-plateau"),
        ("Chalk Rise 2023", "quadratic"),
        ("Mill Field 2025", "exponential-rise"),
    ];
    let row = |(position, (site, curve)): (usize, &(&str, &str))| {
        let at = position as f64;
        vec![
            word(site),
            word("randomised complete block"),
            number(24.0, 0),
            number(78.4 + at, 1),
            number(5.21 + at, 1),
            number(0.0012 * (at + 1.0), 4),
            word(curve),
            number(112.0 - at, 0),
            number(98.0 + at, 0),
            number(81.0 + at, 0),
            if position == 2 { word("open") } else { number(131.0 - at, 0) },
            number(412.37 + at, 2),
            number(0.87 - at / 50.0, 2),
            number(0.41, 2),
        ]
    };
    Table {
        name: text("optima"),
        title: text("Curves and optima by site-year at a price ratio of 0.10 bu/lb"),
        columns: heads.iter().enumerate().map(|(i, head)| column(head, ![0, 1, 6].contains(&i))).collect(),
        rows: sites.iter().enumerate().map(row).collect(),
        notes: vec![
            text("AONR, EONR: agronomic and economic optimum N rate. Limits: 95 % profile interval given the family."),
            text("open: the data set no limit."),
        ],
    }
}

/// A drawing of a response, as the season's figures are made.
pub(super) fn response(name: &str, width: Width) -> Illustration {
    let rates = [0.0, 40.0, 80.0, 120.0, 160.0, 200.0];
    let yields = |rate: f64| 60.0 + 0.3 * rate.min(130.0) - 0.0011 * rate.min(130.0).powi(2);
    let panel = |title: &str| ResponsePanel {
        title: Some(text(title)),
        plots: rates.iter().flat_map(|&rate| [-1.5, 0.4, 1.1].map(|off| [rate, yields(rate) + off])).collect(),
        means: rates.map(|rate| MeanPoint { rate, mean: yields(rate), standard_error: Some(0.7) }).to_vec(),
        curve: (0..=100).map(|i| f64::from(i) * 2.0).map(|rate| [rate, yields(rate)]).collect(),
        curve_line: CurveLine::Response,
        curve_label: text("quadratic-plateau"),
        band: Vec::new(),
        others: Vec::new(),
        tested: [0.0, 200.0],
        optimum: Some(MarkedRate {
            name: text("EONR"),
            rate: Some(91.0),
            low: Some(78.0),
            high: Some(109.0),
            label: text("EONR 91 lb/ac (78 to 109)"),
        }),
        join: None,
    };
    let caption = "Yield against N rate, winter wheat. Open circles: plots; filled: means with their standard error.";
    let panels = ResponsePanels {
        rate_name: text("N rate"),
        rate_unit: Some(text("lb/ac")),
        yield_unit: Some(text("bu/ac")),
        band_level: 0.95,
        panels: match width {
            Width::SingleColumn => vec![panel("Upper Terrace 2024")],
            _ => ["Upper Terrace 2024", "Osier Bend 2025", "Chalk Rise 2023"].map(panel).to_vec(),
        },
        words: Words { caption: text(caption), ..Words::default() },
    };
    Illustration {
        name: text(name),
        svg: render(&Figure::Response(panels), &Style { width, dots_per_inch: 72, ..Style::default() })
            .expect("the sample can be drawn")
            .svg,
        width: width.millimetres(),
        alternative: text(
            "Yield rises with N up to 130 lb/ac and is level beyond; the optimum is 91 lb/ac (78 to 109).",
        ),
        caption: text(caption),
    }
}

/// The table that the summary shows.
fn rate_table() -> Table {
    let row = |index: &str, rate: Cell, interval: &str, site_years: f64| {
        vec![word(index), rate, word(interval), number(site_years, 0)]
    };
    Table {
        name: text("leaf-jointing"),
        title: text("N rate by sufficiency index, leaf chlorophyll, Feekes 5 to 6"),
        columns: vec![
            column("Index", false),
            column("N rate (lb/ac)", true),
            column("95 % interval (lb/ac)", true),
            column("Site-years", true),
        ],
        rows: vec![
            row("0.70 to 0.75", word("not rated"), "", 0.0),
            row("0.75 to 0.80", number(95.0, 0), "78 to 112", 5.0),
            row("0.80 to 0.85", number(70.0, 0), "58 to 82", 7.0),
            row("0.85 to 0.90", number(45.0, 0), "34 to 56", 8.0),
            row("0.90 to 0.95", number(20.0, 0), "8 to 31", 8.0),
            row("0.95 to 1.00", number(0.0, 0), "0 to 12", 7.0),
        ],
        notes: vec![text("Closed below, open above, the last row closed.")],
    }
}

/// A report such as a season gives, with every kind of block.
pub(super) fn sample() -> Report {
    let about = "Eight site-years of winter wheat carry the table. On held-out site-years the rule forgoes 3.10 USD/ac against \
                 the best rate in hindsight, the standard rate 9.40 USD/ac; the difference is 6.30 USD/ac (1.20 to 11.40, 95 % \
                 over site-years).";
    let cautions = vec![
        text("Calibrated at three sites of one valley; other soils and varieties are not covered."),
        text("Local nutrient-management rules and a licensed or certified adviser come first."),
    ];
    let provenance = Table {
        name: text("inputs"),
        title: text("Files read"),
        columns: vec![column("File", false), column("SHA-256", false)],
        rows: vec![
            vec![
                word("upper-terrace-2024/plots.csv"),
                word("9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"),
            ],
            vec![word("programme.toml"), word("60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752")],
        ],
        notes: Vec::new(),
    };
    Report {
        title: text("Larkwater valley winter wheat"),
        subtitle: text("Harvests 2023 to 2025"),
        made_by: text("stook 0.1.0, seed 1"),
        sections: vec![
            section(
                "summary",
                "Summary",
                vec![Block::Paragraph(text(about)), Block::Table(rate_table()), Block::Cautions(cautions)],
            ),
            section(
                "yields",
                "Yields",
                vec![
                    Block::Heading(text("Upper Terrace 2024")),
                    Block::Paragraph(text("Of 60 plots 56 are used; four carry their reason.")),
                    Block::Table(long_table(60)),
                ],
            ),
            section(
                "curves",
                "Curves and optima",
                vec![
                    Block::Figure(response("upper-terrace-2024-response", Width::SingleColumn)),
                    Block::Figure(response("all-responses", Width::DoubleColumn)),
                    Block::Table(wide_table()),
                ],
            ),
            section(
                "methods",
                "Methods",
                vec![
                    Block::Paragraph(text(about)),
                    Block::List(vec![
                        text("Profile intervals of the optimum given the family."),
                        text("Site-years left out in turn."),
                    ]),
                    Block::Table(provenance),
                ],
            ),
        ],
    }
}

/// Two sections of every kind of block, with this text wherever a text stands; drawings stay as they are.
pub(super) fn with_text(said: &str) -> Report {
    let table = Table {
        name: text(said),
        title: text(said),
        columns: vec![column(said, false), column(said, true)],
        rows: vec![vec![word(said), word(said)], vec![word(said), word(said)]],
        notes: vec![text(said)],
    };
    let figure = Illustration { alternative: text(said), caption: text(said), ..response(said, Width::SingleColumn) };
    let blocks = vec![
        Block::Heading(text(said)),
        Block::Paragraph(text(said)),
        Block::List(vec![text(said), text(said)]),
        Block::Cautions(vec![text(said), text(said)]),
        Block::Table(table),
        Block::Figure(figure),
    ];
    let section = section(said, said, blocks);
    Report { title: text(said), subtitle: text(said), made_by: text(said), sections: vec![section.clone(), section] }
}

/// Reports with nothing where something is usual.
pub(super) fn bare() -> Vec<Report> {
    let empty = Report { title: text(""), subtitle: text(""), made_by: text(""), sections: Vec::new() };
    let table = |columns: Vec<Column>, rows: Vec<Vec<Cell>>| {
        Block::Table(Table { name: text(""), title: text(""), columns, rows, notes: Vec::new() })
    };
    let blocks = vec![
        Block::Heading(text("")),
        Block::Paragraph(text("")),
        Block::List(Vec::new()),
        Block::Cautions(Vec::new()),
        table(Vec::new(), Vec::new()),
        table(vec![column("Yield", true)], Vec::new()),
        table(Vec::new(), vec![vec![word("no column for this")]]),
        table(vec![column("Plot", false), column("Yield", true)], vec![vec![word("101")], Vec::new()]),
    ];
    vec![empty.clone(), Report { sections: vec![section("", "", Vec::new()), section("", "", blocks)], ..empty }]
}
