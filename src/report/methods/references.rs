//! Published sources, each cited where it was used and listed once.
//!
//! Titles and places are from memory, and the report says that they are to be checked: it was written without a library at hand.

use std::collections::BTreeSet;

/// A published source, in the order of the list.
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
    #[rustfmt::skip]
    fn texts(self) -> (&'static str, &'static str) {
        match self {
            Self::Ayer1955 => ("Ayer et al. 1955", "Ayer, Brunk, Ewing, Reid and Silverman 1955. An empirical distribution function for sampling with incomplete information. Annals of Mathematical Statistics 26:641–647."),
            Self::Bartlett1937 => ("Bartlett 1937", "Bartlett 1937. Properties of sufficiency and statistical tests. Proceedings of the Royal Society A 160:268–282."),
            Self::Bates2015 => ("Bates et al. 2015", "Bates, Mächler, Bolker and Walker 2015. Fitting linear mixed-effects models using lme4. Journal of Statistical Software 67(1):1–48."),
            Self::Breiman1984 => ("Breiman et al. 1984", "Breiman, Friedman, Olshen and Stone 1984. Classification and Regression Trees. Wadsworth."),
            Self::BrownForsythe1974 => ("Brown and Forsythe 1974", "Brown and Forsythe 1974. Robust tests for the equality of variances. Journal of the American Statistical Association 69:364–367."),
            Self::BurnhamAnderson2002 => ("Burnham and Anderson 2002", "Burnham and Anderson 2002. Model Selection and Multimodel Inference, 2nd edition. Springer."),
            Self::CookWeisberg1982 => ("Cook and Weisberg 1982", "Cook and Weisberg 1982. Residuals and Influence in Regression. Chapman and Hall."),
            Self::CrouxRousseeuw1992 => ("Croux and Rousseeuw 1992", "Croux and Rousseeuw 1992. Time-efficient algorithms for two highly robust estimators of scale. Computational Statistics 1:411–428."),
            Self::DavisonHinkley1997 => ("Davison and Hinkley 1997", "Davison and Hinkley 1997. Bootstrap Methods and their Application. Cambridge University Press."),
            Self::Dobermann2005 => ("Dobermann 2005", "Dobermann 2005. Nitrogen use efficiency: state of the art. IFA International Workshop on Enhanced-Efficiency Fertilizers, Frankfurt."),
            Self::Dunnett1955 => ("Dunnett 1955", "Dunnett 1955. A multiple comparison procedure for comparing several treatments with a control. Journal of the American Statistical Association 50:1096–1121."),
            Self::Efron1987 => ("Efron 1987", "Efron 1987. Better bootstrap confidence intervals. Journal of the American Statistical Association 82:171–185."),
            Self::EfronTibshirani1993 => ("Efron and Tibshirani 1993", "Efron and Tibshirani 1993. An Introduction to the Bootstrap, chapter 11. Chapman and Hall."),
            Self::FaiCornelius1996 => ("Fai and Cornelius 1996", "Fai and Cornelius 1996. Approximate F-tests of multiple degree of freedom hypotheses in generalized least squares analyses of unbalanced split-plot experiments. Journal of Statistical Computation and Simulation 54:363–378."),
            Self::Fieller1954 => ("Fieller 1954", "Fieller 1954. Some problems in interval estimation. Journal of the Royal Statistical Society B 16:175–185."),
            Self::HanleyMcNeil1982 => ("Hanley and McNeil 1982", "Hanley and McNeil 1982. The meaning and use of the area under a receiver operating characteristic (ROC) curve. Radiology 143:29–36."),
            Self::Higgins2009 => ("Higgins et al. 2009", "Higgins, Thompson and Spiegelhalter 2009. A re-evaluation of random-effects meta-analysis. Journal of the Royal Statistical Society A 172:137–159."),
            Self::HurvichTsai1989 => ("Hurvich and Tsai 1989", "Hurvich and Tsai 1989. Regression and time series model selection in small samples. Biometrika 76:297–307."),
            Self::JohnsonRust1992 => ("Johnson and Rust 1992", "Johnson and Rust 1992. Population inferences and variance estimation for NAEP data. Journal of Educational Statistics 17:175–190."),
            Self::KenwardRoger1997 => ("Kenward and Roger 1997", "Kenward and Roger 1997. Small sample inference for fixed effects from restricted maximum likelihood. Biometrics 53:983–997."),
            Self::KnappHartung2003 => ("Knapp and Hartung 2003", "Knapp and Hartung 2003. Improved tests for a random effects meta-regression with a single covariate. Statistics in Medicine 22:2693–2710."),
            Self::Kramer1956 => ("Kramer 1956", "Kramer 1956. Extension of multiple range tests to group means with unequal numbers of replications. Biometrics 12:307–310."),
            Self::MannWhitney1947 => ("Mann and Whitney 1947", "Mann and Whitney 1947. On a test of whether one of two random variables is stochastically larger than the other. Annals of Mathematical Statistics 18:50–60."),
            Self::MulvaneyDevkota2020 => ("Mulvaney and Devkota 2020", "Mulvaney and Devkota 2020. Adjusting crop yield to a standard moisture content. UF/IFAS publication SS-AGR-443."),
            Self::Nist811 => ("NIST SP 811", "NIST Special Publication 811. Guide for the Use of the International System of Units."),
            Self::Pannell2006 => ("Pannell 2006", "Pannell 2006. Flat earth economics: the far-reaching consequences of flat payoff functions in economic decision making. Review of Agricultural Economics 28:553–566."),
            Self::Piepho2004 => ("Piepho 2004", "Piepho 2004. An algorithm for a letter-based representation of all-pairwise comparisons. Journal of Computational and Graphical Statistics 13:456–466."),
            Self::Roever2015 => ("Röver et al. 2015", "Röver, Knapp and Friede 2015. Hartung–Knapp–Sidik–Jonkman approach and its modification for random-effects meta-analysis with few studies. BMC Medical Research Methodology 15:99."),
            Self::Royston1995 => ("Royston 1995", "Royston 1995. Remark AS R94: a remark on algorithm AS 181: the W-test for normality. Applied Statistics 44:547–551."),
            Self::Satterthwaite1946 => ("Satterthwaite 1946", "Satterthwaite 1946. An approximate distribution of estimates of variance components. Biometrics Bulletin 2:110–114."),
            Self::Searle1980 => ("Searle et al. 1980", "Searle, Speed and Milliken 1980. Population marginal means in the linear model: an alternative to least squares means. American Statistician 34:216–221."),
            Self::SearleCasella1992 => ("Searle et al. 1992", "Searle, Casella and McCulloch 1992. Variance Components. Wiley."),
            Self::ShroutFleiss1979 => ("Shrout and Fleiss 1979", "Shrout and Fleiss 1979. Intraclass correlations: uses in assessing rater reliability. Psychological Bulletin 86:420–428."),
            Self::Tukey1953 => ("Tukey 1953", "Tukey 1953. The problem of multiple comparisons. Unpublished manuscript, Princeton University."),
            Self::Viechtbauer2007 => ("Viechtbauer 2007", "Viechtbauer 2007. Confidence intervals for the amount of heterogeneity in meta-analysis. Statistics in Medicine 26:37–52."),
            Self::Youden1950 => ("Youden 1950", "Youden 1950. Index for rating diagnostic tests. Cancer 3:32–35."),
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
        self.cited.iter().map(|reference| reference.texts().1.to_owned()).collect()
    }
}
