//! The figures of the demo's season: which there are, and what they say.

use std::path::Path;
use std::sync::OnceLock;

use crate::experiment::anova::Analysed;
use crate::figures::{
    Colours, DecimalMark, NamedFigure, Style, UnitForm, UnitSystem, Wording, WordingOptions, draw_figures,
    season_figures,
};
use crate::files::load_programme;
use crate::season::{Season, SeasonOptions};

/// The demo's season with fewer permutations and resamples than usual.
fn demo() -> &'static (Season, Vec<Analysed>) {
    static DEMO: OnceLock<(Season, Vec<Analysed>)> = OnceLock::new();
    DEMO.get_or_init(|| {
        let loaded = load_programme(&Path::new(env!("CARGO_MANIFEST_DIR")).join("trials")).unwrap();
        let options = SeasonOptions { permutations: 999, replicates: 50, ..SeasonOptions::default() };
        let season = Season::run(loaded.value, Vec::new(), options, &|_| {}).unwrap();
        let analysed = season.analyses().unwrap();
        (season, analysed)
    })
}

fn described(options: WordingOptions) -> Vec<NamedFigure> {
    let (season, analysed) = demo();
    season_figures(season, analysed, &Wording::new(&season.programme, options).unwrap())
}

#[test]
#[ignore = "writes the demo's figures into the folder named by STOOK_FIGURES, in colour, in grey and in international units"]
fn the_demos_figures_are_written_where_asked() {
    let Ok(folder) = std::env::var("STOOK_FIGURES") else {
        return;
    };
    let exponent = WordingOptions {
        units: UnitSystem::International,
        unit_form: UnitForm::Exponent,
        decimal_mark: DecimalMark::Comma,
    };
    let ways = [
        ("colour", WordingOptions::default(), Colours::Palette),
        ("grey", WordingOptions::default(), Colours::Grey),
        ("si", exponent, Colours::Palette),
    ];
    for (name, options, colours) in ways {
        let figures = described(options);
        let style = Style { colours, decimal_mark: options.decimal_mark, ..Style::default() };
        let started = std::time::Instant::now();
        let (drawn, left_out) = draw_figures(&figures, None, &style);
        eprintln!("{name}: {} figures drawn in {:?}", drawn.len(), started.elapsed());
        assert!(left_out.is_empty(), "{left_out:?}");
        let own = Path::new(&folder).join(name);
        std::fs::create_dir_all(&own).unwrap();
        for figure in drawn {
            std::fs::write(own.join(format!("{}.png", figure.name)), figure.rendered.png).unwrap();
            let words = figure.rendered.words;
            let text = format!("{}\n\n{}\n\n{}\n", words.title, words.caption, words.finding);
            std::fs::write(own.join(format!("{}.txt", figure.name)), text).unwrap();
        }
    }
}

#[test]
fn each_kind_has_its_figures_in_the_order_of_the_trials() {
    let figures = described(WordingOptions::default());
    let ending = |ending: &str| figures.iter().filter(|figure| figure.name.ends_with(ending)).count();
    // Nine trials take part; in chalk-rise-2024 and osier-bend-2024 no response is shown, so there is no net return to draw.
    assert_eq!([ending("-families"), ending("-net-return"), ending("-price")], [9, 7, 9]);
    // Nine trials, and two sets of site-years together.
    assert_eq!([ending("-means"), ending("-residuals")], [11, 9]);
    let names: Vec<&str> = figures.iter().map(|figure| figure.name.as_str()).collect();
    for name in [
        "all-trials-response",
        "all-trials-topdress-response",
        "all-trials-topdress-response-2",
        "all-trials-n-rate-means",
    ] {
        assert!(names.contains(&name), "{name}: {names:?}");
    }
    let mut sorted = names.clone();
    sorted.sort_unstable();
    sorted.dedup();
    assert_eq!(sorted.len(), names.len(), "every name once");
}
