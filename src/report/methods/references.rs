//! Published sources, each cited where it was used and listed once.
//!
//! Authors, years and places are those that stand beside the formulas in this program. Those marked *from memory* there were not looked up again.

use std::collections::BTreeSet;

/// A published source.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Reference {
    Ayer1955,
    Bartlett1937,
    Bates2015,
    Breiman1984,
    BrownForsythe1974,
    BurnhamAnderson2002,
    CookWeisberg1982,
    CrouxRousseeuw1992,
    DavisonHinkley1997,
    Dobermann2005,
    Dunnett1955,
    Efron1987,
    EfronTibshirani1993,
    FaiCornelius1996,
    Fieller1954,
    HanleyMcNeil1982,
    Higgins2009,
    HurvichTsai1989,
    JohnsonRust1992,
    KenwardRoger1997,
    KnappHartung2003,
    Kramer1956,
    MannWhitney1947,
    MulvaneyDevkota2020,
    Nist811,
    Pannell2006,
    Piepho2004,
    Roever2015,
    Royston1995,
    Satterthwaite1946,
    Searle1980,
    SearleCasella1992,
    ShroutFleiss1979,
    Tukey1953,
    Viechtbauer2007,
    Youden1950,
}

impl Reference {
    /// As it is cited, and as it is listed.
    fn texts(self) -> (&'static str, &'static str) {
        match self {
            Self::Ayer1955 => ("Ayer et al. 1955", "Ayer et al. 1955. Annals of Mathematical Statistics 26:641–647."),
            // From memory.
            Self::Bartlett1937 => ("Bartlett 1937", "Bartlett 1937. Proc. R. Soc. A 160:268–282."),
            Self::Bates2015 => ("Bates et al. 2015", "Bates, Mächler, Bolker and Walker 2015. J. Stat. Softw. 67(1)."),
            // From memory.
            Self::Breiman1984 => ("Breiman et al. 1984", "Breiman et al. 1984. Classification and Regression Trees."),
            // From memory.
            Self::BrownForsythe1974 => {
                ("Brown and Forsythe 1974", "Brown and Forsythe 1974. J. Am. Stat. Assoc. 69:364–367.")
            }
            // From memory.
            Self::BurnhamAnderson2002 => (
                "Burnham and Anderson 2002",
                "Burnham and Anderson 2002. Model Selection and Multimodel Inference, 2nd ed.",
            ),
            Self::CookWeisberg1982 => {
                ("Cook and Weisberg 1982", "Cook and Weisberg 1982. Residuals and Influence in Regression.")
            }
            // From memory.
            Self::CrouxRousseeuw1992 => ("Croux and Rousseeuw 1992", "Croux and Rousseeuw 1992."),
            // From memory.
            Self::DavisonHinkley1997 => (
                "Davison and Hinkley 1997",
                "Davison and Hinkley 1997. Bootstrap Methods and their Application, section 6.2.",
            ),
            // From memory.
            Self::Dobermann2005 => ("Dobermann 2005", "Dobermann 2005."),
            // From memory.
            Self::Dunnett1955 => ("Dunnett 1955", "Dunnett 1955. J. Am. Stat. Assoc. 50:1096–1121."),
            // From memory.
            Self::Efron1987 => ("Efron 1987", "Efron 1987. J. Am. Stat. Assoc. 82:171–185."),
            // From memory.
            Self::EfronTibshirani1993 => (
                "Efron and Tibshirani 1993",
                "Efron and Tibshirani 1993. An Introduction to the Bootstrap, chapter 11.",
            ),
            Self::FaiCornelius1996 => {
                ("Fai and Cornelius 1996", "Fai and Cornelius 1996. J. Stat. Comput. Simul. 54:363–378.")
            }
            // From memory.
            Self::Fieller1954 => ("Fieller 1954", "Fieller 1954."),
            // From memory.
            Self::HanleyMcNeil1982 => ("Hanley and McNeil 1982", "Hanley and McNeil 1982."),
            // From memory.
            Self::Higgins2009 => {
                ("Higgins et al. 2009", "Higgins, Thompson and Spiegelhalter 2009. J. R. Stat. Soc. A 172:137–159.")
            }
            // From memory.
            Self::HurvichTsai1989 => ("Hurvich and Tsai 1989", "Hurvich and Tsai 1989."),
            // From memory.
            Self::JohnsonRust1992 => {
                ("Johnson and Rust 1992", "Johnson and Rust 1992. Journal of Educational Statistics 17:175–190.")
            }
            Self::KenwardRoger1997 => ("Kenward and Roger 1997", "Kenward and Roger 1997. Biometrics 53:983–997."),
            // From memory.
            Self::KnappHartung2003 => ("Knapp and Hartung 2003", "Knapp and Hartung 2003. Stat. Med. 22:2693–2710."),
            // From memory.
            Self::Kramer1956 => ("Kramer 1956", "Kramer 1956. Biometrics 12:307–310."),
            // From memory.
            Self::MannWhitney1947 => ("Mann and Whitney 1947", "Mann and Whitney 1947."),
            Self::MulvaneyDevkota2020 => {
                ("Mulvaney and Devkota 2020", "Mulvaney and Devkota 2020. UF/IFAS publication SS-AGR-443.")
            }
            Self::Nist811 => ("NIST SP 811", "NIST Special Publication 811."),
            Self::Pannell2006 => ("Pannell 2006", "Pannell 2006."),
            // From memory.
            Self::Piepho2004 => ("Piepho 2004", "Piepho 2004. J. Comput. Graph. Stat. 13:456–466."),
            // From memory.
            Self::Roever2015 => ("Röver et al. 2015", "Röver, Knapp and Friede 2015. BMC Med. Res. Methodol. 15:99."),
            // Coefficients from memory.
            Self::Royston1995 => ("Royston 1995", "Royston 1995. Appl. Stat. 44:547–551, algorithm AS R94."),
            Self::Satterthwaite1946 => ("Satterthwaite 1946", "Satterthwaite 1946. Biometrics Bull. 2:110–114."),
            // From memory.
            Self::Searle1980 => ("Searle et al. 1980", "Searle, Speed and Milliken 1980. Am. Stat. 34:216–221."),
            // From memory.
            Self::SearleCasella1992 => {
                ("Searle et al. 1992", "Searle, Casella and McCulloch 1992. Variance Components.")
            }
            // From memory.
            Self::ShroutFleiss1979 => ("Shrout and Fleiss 1979", "Shrout and Fleiss 1979. Psychol. Bull. 86:420–428."),
            // From memory.
            Self::Tukey1953 => ("Tukey 1953", "Tukey 1953."),
            // From memory.
            Self::Viechtbauer2007 => ("Viechtbauer 2007", "Viechtbauer 2007. Stat. Med. 26:37–52."),
            // From memory.
            Self::Youden1950 => ("Youden 1950", "Youden 1950. Cancer 3:32–35."),
        }
    }
}

/// The sources that were cited.
#[derive(Debug, Default)]
pub(super) struct Citations {
    cited: BTreeSet<Reference>,
}

impl Citations {
    /// *(Tukey 1953; Kramer 1956)*, and notes that they were cited.
    pub(super) fn cite(&mut self, references: &[Reference]) -> String {
        self.cited.extend(references);
        let named: Vec<&str> = references.iter().map(|reference| reference.texts().0).collect();
        format!("({})", named.join("; "))
    }

    /// The list of those cited, in order of author.
    pub(super) fn list(&self) -> Vec<String> {
        let mut listed: Vec<String> = self.cited.iter().map(|reference| reference.texts().1.to_owned()).collect();
        listed.sort();
        listed
    }
}
